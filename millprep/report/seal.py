"""The hashes by which a set on disk is known again."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from millprep.report.json_text import to_text

if TYPE_CHECKING:
    from pathlib import Path

    from millprep.report.record import Row

REPORT = "report.json"


def sealed(row: Row, folder: Path) -> Row:
    """The report with the hash of every other file in `folder`, and at last its own."""
    found = sorted(path for path in folder.rglob("*") if path.is_file())
    files = {path.relative_to(folder).as_posix(): path for path in found}
    row = row | {
        "files": [
            {"file": name, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()}
            for name, path in sorted(files.items())
            if name != REPORT
        ]
    }
    return row | {"seal": seal(row)}


def seal(row: Row) -> str:
    """SHA-256 of the report as text, with null where the seal stands."""
    return hashlib.sha256(to_text(row | {"seal": None}).encode("utf-8", "replace")).hexdigest()
