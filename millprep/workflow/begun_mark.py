"""The mark of a set that is being cut, as a file in its folder."""

from __future__ import annotations

import secrets
import tomllib
from pathlib import Path

from millprep.model.begun import FILE, Begun
from millprep.model.finding import Finding, Refusal

HEAD = """\
# Passes of this set that have been cut, by `millprep begin`. --replace replaces the set anyway.
"""


def load(folder: Path) -> Begun | None:
    """The mark in a folder; None when it is not marked.

    Raises:
        Refusal: exit code 2, when the file is not as `millprep begin` writes it.
    """
    file = folder / FILE
    if not file.exists():
        return None
    try:
        mark = tomllib.loads(file.read_text("utf-8"))
        pairs = [(row["blank"], row["number"]) for row in mark["pass"]]
        if set(mark) == {"set", "pass"} and isinstance(mark["set"], str):
            return Begun(mark["set"], tuple((int(blank), int(number)) for blank, number in pairs))
        words = "must hold a set and its passes, and nothing else"
    except (OSError, ValueError, KeyError, TypeError) as fault:
        words = f"cannot be read ({type(fault).__name__}: {fault})"
    message = (
        f"{FILE} {words}. Delete the file and mark again with millprep begin what has been cut."
    )
    finding = Finding(code="begun-unreadable", severity="stop", message=message, file=str(file))
    raise Refusal([finding], exit_code=2)


def save(folder: Path, mark: Begun) -> None:
    """Write the mark into a set's folder, whole or not at all."""
    rows = [f"\n[[pass]]\nblank = {blank}\nnumber = {number}\n" for blank, number in mark.passes]
    new = folder.resolve().with_name(f".{folder.resolve().name}-{secrets.token_hex(6)}")
    try:
        new.write_bytes((HEAD + f'set = "{mark.set}"\n' + "".join(rows)).encode())
        new.replace(folder / FILE)
    except OSError as fault:
        new.unlink(missing_ok=True)
        message = f"The mark cannot be written into {folder} ({fault.strerror})."
        finding = Finding(code="output-not-writable", severity="stop", message=message)
        raise Refusal([finding], exit_code=2) from None
