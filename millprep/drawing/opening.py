"""Opening a DXF file: every way it can fail becomes a refusal."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from millprep.drawing.ledger import Ledger

MOST_BYTES = 20_000_000
"""Larger files are refused; a half-metre board takes a fiftieth of it."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """An opened file.

    Attributes:
        doc: the drawing as the DXF library holds it.
        header: names of the header variables that stand in the file itself; the library
            fills in others, $INSUNITS among them, as if the file had said so.
    """

    doc: Any
    header: frozenset[str]


def load(file: Path, ledger: Ledger) -> Drawing:
    """Open a drawing.

    Raises:
        Refusal: exit code 3, when there is no such file or it is no sound DXF.
    """
    try:
        with file.open("rb") as stream:
            content = stream.read(MOST_BYTES + 1)
    except FileNotFoundError:
        ledger.stop("drawing-missing", f"there is no file {ledger.shown_as}", "correct its path")
    except IsADirectoryError:
        ledger.stop("drawing-missing", f"{ledger.shown_as} is a folder", "name the DXF file in it")
    except OSError as fault:
        ledger.stop(
            "drawing-unreadable",
            f"{ledger.shown_as} cannot be opened ({fault.strerror or 'no reason given'})",
            "make the file readable",
        )
    ledger.refuse_if_stopped()
    if not content.strip(b"\0 \t\r\n"):
        ledger.stop("drawing-empty", f"{ledger.shown_as} is an empty file", "export it again")
    elif len(content) > MOST_BYTES:
        ledger.stop(
            "drawing-too-large",
            f"{ledger.shown_as} has more than {MOST_BYTES / 1e6:.0f} MB",
            "export only the layers of the board",
        )
    elif not _looks_like_dxf(content[:4096]):
        ledger.stop(
            "drawing-not-dxf",
            f"{ledger.shown_as} does not begin like a DXF file",
            "export the drawing as DXF, R12 or later",
        )
    ledger.refuse_if_stopped()
    said = frozenset(
        name for name in ("$INSUNITS", "$MEASUREMENT") if name.encode("ascii") in content
    )
    return Drawing(_parse(file, ledger), said)


def _looks_like_dxf(head: bytes) -> bool:
    """Whether the first lines are pairs of a group code and a value, or the binary mark."""
    if head.startswith(b"AutoCAD Binary DXF"):
        return True
    first = head.removeprefix(b"\xef\xbb\xbf").split(b"\n", 1)[0].strip()
    return first.isdigit()


def _parse(file: Path, ledger: Ledger) -> Any:
    import logging

    from ezdxf import filemanagement

    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
    try:
        doc = filemanagement.readfile(file)
        doc.modelspace()
    except MemoryError:
        ledger.stop(
            "drawing-too-large", f"{ledger.shown_as} does not fit into memory", "export less"
        )
    except RecursionError:
        ledger.stop("drawing-unreadable", "its structure is nested without end", "export it again")
    except Exception as fault:  # the library raises its own and many built-in errors
        words = (str(fault).strip().splitlines() or [""])[0][:160]
        ledger.stop(
            "drawing-unreadable",
            f"the structure of {ledger.shown_as} is damaged ({type(fault).__name__}: {words})",
            "open it in a drawing program, save it as DXF again and look at what changed",
        )
    ledger.refuse_if_stopped()
    return doc
