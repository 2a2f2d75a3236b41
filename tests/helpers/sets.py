"""Sets as files, and the command that makes them in a fresh process."""

from __future__ import annotations

import hashlib
from pathlib import Path

ROOT = Path(__file__).parents[1]


START = "import sys; from millprep.cli import main; sys.argv[0] = 'millprep'; main()"


def contents(folder: Path) -> dict[str, str]:
    """Every file of a folder and the hash of its bytes."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


ISOLATE = "blank-1/pass-1/02-isolate-vee.ngc"
