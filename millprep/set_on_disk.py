"""A set in its folder: complete and new, or the old one as it was."""

from __future__ import annotations

import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from millprep.values.finding import Finding, Refusal

MARK = "report.json"
"""Every set holds this file; a folder without it is not ours to replace."""


@contextmanager
def staged(out: Path) -> Iterator[Path]:
    """A new empty folder beside `out`, removed at the end unless it was put in place."""
    out.parent.mkdir(parents=True, exist_ok=True)
    folder = Path(tempfile.mkdtemp(prefix=f".{out.name}-", dir=out.parent))
    folder.chmod(0o755)
    try:
        yield folder
    finally:
        if folder.exists():
            shutil.rmtree(folder)


def put_in_place(folder: Path, out: Path) -> None:
    """Exchange the folder for `out`; the old set goes only after the new one stands.

    Raises:
        Refusal: when `out` holds something that is no set.
    """
    check(out)
    old = None
    if out.exists():
        old = Path(tempfile.mkdtemp(prefix=f".{out.name}-old-", dir=out.parent)) / "set"
        out.rename(old)
    try:
        folder.rename(out)
    except OSError:
        if old is not None:
            old.rename(out)
        raise
    finally:
        if old is not None and old.parent.exists():
            shutil.rmtree(old.parent)


def check(out: Path) -> None:
    """Refuse an output folder that holds other things than a set.

    Raises:
        Refusal: with exit code 2.
    """
    if out.exists() and (not out.is_dir() or (any(out.iterdir()) and not (out / MARK).is_file())):
        raise Refusal(
            [
                Finding(
                    code="output-not-ours",
                    severity="stop",
                    message=(
                        f"{out} exists and is no set of programs; it would be replaced. Name a "
                        "new or empty folder with --out."
                    ),
                    file=str(out),
                )
            ],
            exit_code=2,
        )


def refused_folder(out: Path) -> Path:
    """Where findings of a refused run go."""
    return out.with_name(f"{out.name}-refused")
