"""What kind of file a drawing is: its content decides, never its name."""

from __future__ import annotations

import re
from typing import Literal

from millprep.drawing.ledger import Ledger

Kind = Literal["DXF", "Gerber", "drill", ""]
"""The kinds that are read; "" for any other."""

_BLANK = rb"[\s\0\xef\xbb\xbf]*"
_GERBER = re.compile(
    rb"%(FS|MO|AD|AM|LP|SR|AB|TF|IN|LN|IP|IC|OF|AS)[^%]*\*|^G0*4\b[^*]*\*|^G54D\d+\*|D0*[123]\*",
    re.MULTILINE,
)
_DRILL = re.compile(rb"^[ \t]*(M48|(INCH|METRIC)(,|\s*$)|T\d+[FS\d.]*C[\d.]+)", re.MULTILINE)
_OTHERS = {
    rb"(C |P  (JOB|CODE|UNITS|DIM|TITLE|VER)|3[12]7)": "a netlist",
    rb"AC10\d\d": "a DWG file",
    rb"<(\?xml|svg)": "an SVG file",
    rb"%PDF": "a PDF file",
    rb"\x89PNG|\xff\xd8": "a picture",
}
"""How files begin that are no drawings, and what they are."""


def kind_of(content: bytes) -> Kind:
    """The kind of a file."""
    head = content[:20_000]
    if head.startswith(b"AutoCAD Binary DXF"):
        return "DXF"
    first = head.removeprefix(b"\xef\xbb\xbf").split(b"\n", 1)[0].strip()
    if first.isdigit():
        return "DXF"
    if other_kind(content):
        return ""
    if _GERBER.search(head):
        return "Gerber"
    return "drill" if _DRILL.search(head) else ""


def other_kind(content: bytes) -> str:
    """What a file seems to be that is no drawing, by how it begins; "" where that is not known."""
    for mark, kind in _OTHERS.items():
        if re.match(_BLANK + mark, content[:200]):
            return kind
    return ""


def refuse_unknown(content: bytes, ledger: Ledger) -> None:
    """Note that a file is of no kind that is read."""
    other = other_kind(content)
    ledger.stop(
        "drawing-not-dxf",
        f"{ledger.shown_as} is no DXF, Gerber or drill file{f', but like {other}' * bool(other)}",
        "export the drawing as DXF, R12 or later, or as Gerber and drill files",
    )
