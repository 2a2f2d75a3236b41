"""Opening a DXF file: every way it can fail becomes a refusal."""

from __future__ import annotations

import errno
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from millprep.drawing import kinds
from millprep.drawing.dxf import opening_losses, raw, tags
from millprep.drawing.dxf.changes import Change
from millprep.drawing.dxf.raw import Raw
from millprep.drawing.ledger import Ledger
from millprep.files.reading import contents

MOST_BYTES = 20_000_000
"""Larger files are refused; a half-metre board takes a fiftieth of it."""

MOST_RECORDS = 50_000
"""Entities and vertices of their own beyond which a file is refused before it is parsed: each
takes up to 0.2 ms and 5 kB."""

MOST_PATHS = 20_000
"""Ways through blocks in blocks beyond which a file is not mended: the audit walks each."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """An opened file.

    Attributes:
        doc: the drawing as the DXF library holds it.
        header: names of the header variables that are in the file itself; the library
            fills in others, $INSUNITS among them, as if the file had said so.
        raw: what the bare tags of the file show.
        changes: what opening it lost or changed, and entities that are not whole.
    """

    doc: Any
    header: frozenset[str]
    raw: Raw
    changes: tuple[Change, ...]


def content_of(file: Path, ledger: Ledger) -> bytes:
    """The bytes of a drawing.

    Raises:
        Refusal: exit code 3, when there is no such file, or it is empty or far too large.
    """
    try:
        content = contents(file, MOST_BYTES)
    except FileNotFoundError:
        ledger.stop("drawing-missing", f"there is no file {ledger.shown_as}", "correct its path")
    except IsADirectoryError:
        ledger.stop("drawing-missing", f"{ledger.shown_as} is a folder", "name the file in it")
    except OSError as fault:
        if fault.errno == errno.EFBIG:
            ledger.stop(
                "drawing-too-large",
                f"{ledger.shown_as} has more than {MOST_BYTES / 1e6:.0f} MB",
                "export only the layers of the board",
            )
            ledger.refuse_if_stopped()
        ledger.stop(
            "drawing-unreadable",
            f"{ledger.shown_as} cannot be opened ({fault.strerror or 'no reason given'})",
            "name a file that can be read",
        )
    ledger.refuse_if_stopped()
    if not content.strip(b"\0 \t\r\n"):
        ledger.stop("drawing-empty", f"{ledger.shown_as} is an empty file", "export it again")
    ledger.refuse_if_stopped()
    return content


def load(file: Path, content: bytes, ledger: Ledger, repair: bool = False) -> Drawing:
    """Open a DXF drawing.

    Args:
        file: the DXF file.
        content: its bytes.
        ledger: takes the faults.
        repair: whether the library may mend a file that does not open as it is.

    Raises:
        Refusal: exit code 3, when it is no sound DXF.
    """
    if kinds.kind_of(content) != "DXF":
        kinds.refuse_unknown(content, ledger)
    elif (count := len(_RECORD.findall(content))) > MOST_RECORDS:
        ledger.stop(
            "drawing-too-large",
            f"{ledger.shown_as} has {count} entities and other records; at most {MOST_RECORDS} are "
            "read",
            "export only the layers of the board",
        )
    ledger.refuse_if_stopped()
    said = frozenset(
        name for name in ("$INSUNITS", "$MEASUREMENT") if name.encode("ascii") in content
    )
    tagged = raw.read(content)
    opened = _parse(file, content, tagged, ledger, repair)
    ledger.refuse_if_stopped()
    assert opened is not None
    doc, changes = opened
    return Drawing(doc, said, tagged, changes)


_RECORD = re.compile(rb"^[ \t]*0[ \t]*\r?\n[ \t]*[A-Z]", re.MULTILINE)
"""The group code that begins an entity of a text file, and the kind after it."""


Opened = tuple[Any, tuple[Change, ...]]


def _parse(file: Path, content: bytes, tagged: Raw, ledger: Ledger, repair: bool) -> Opened | None:
    """The library's drawing with its changes; as it is if it can be, else mended."""
    import logging

    logging.getLogger("ezdxf").setLevel(logging.CRITICAL)
    try:
        opened = _as_it_is(file, tagged)
        if not repair or not any(change.is_loss for change in opened[1]):
            return opened
    except MemoryError:
        _no_memory(ledger)
        return None
    except Exception as first:  # the library raises its own and many built-in errors
        if not repair:
            remedy = (
                "open it in a drawing program and save it as DXF again, or let --repair try to "
                "mend it: that lists all it changes"
            )
            _unreadable(first, remedy, ledger)
            return None
    if raw.ways(tagged) > MOST_PATHS:
        ledger.stop(
            "drawing-too-large",
            "its blocks hold each other in too many ways to mend the file",
            "explode the inserts and export again",
        )
        return None
    try:
        return _mended(content, tagged)
    except MemoryError:
        _no_memory(ledger)
        return None
    except Exception as second:
        remedy = "it cannot be mended either: export it again, from another program if need be"
        _unreadable(second, remedy, ledger)
        return None


def _as_it_is(file: Path, tagged: Raw) -> Opened:
    from ezdxf import filemanagement

    doc: Any = filemanagement.readfile(file)
    doc.modelspace()
    return doc, (*opening_losses.lost(tagged, doc), *opening_losses.damaged(tagged, doc))


def _mended(content: bytes, tagged: Raw) -> Opened:
    import io

    from ezdxf import recover

    if any(name == "missing-eof" for name, _ in tagged.loose):
        content = tags.closed(content, tagged.cut)
    doc: Any
    doc, auditor = recover.read(io.BytesIO(content))
    doc.modelspace()
    done = opening_losses.audited(auditor, tagged, doc)
    return doc, (*opening_losses.lost(tagged, doc), *opening_losses.damaged(tagged, doc), *done)


def _no_memory(ledger: Ledger) -> None:
    ledger.stop("drawing-too-large", f"{ledger.shown_as} does not fit into memory", "export less")


def _unreadable(fault: Exception, remedy: str, ledger: Ledger) -> None:
    words = (str(fault).strip().splitlines() or [""])[0][:160]
    what = f"the structure of {ledger.shown_as} is damaged ({type(fault).__name__}: {words})"
    if isinstance(fault, RecursionError):
        what = f"the structure of {ledger.shown_as} is nested without end"
    ledger.stop("drawing-unreadable", what, remedy)
