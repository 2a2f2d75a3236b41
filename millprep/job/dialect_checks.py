"""What must hold of `[machine.dialect]`, within it and beside the rest of a job."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

from millprep.job.dialect import DialectTable
from millprep.job.fields import filled, plain
from millprep.job.mistakes import Mistake, wrong
from millprep.job.places import KeyPath
from millprep.model.dialect import ARC_DECIMALS, Comments

GROUPS = (
    "plane: G17", "units: G21", "compensation: G40", "length: G49", "system: G54",
    "path: G61 G61.1 G64", "motion: G80", "distance: G90", "feed: G94", "return: G98 G99",
    "dwell: G4", "coolant: M7 M8 M9", "overrides: M48 M49",
)  # fmt: skip
"""Words that may stand in lines of a person's own, by modal group (NISTIR 6556, table 4): they
move nothing, and leave places, lengths and spindle as they are."""
ALLOWED = {word: group for group, _, words in (g.partition(":") for g in GROUPS)
           for word in words.split()}  # fmt: skip


def check_dialect(
    machine: dict[str, Any], registration: dict[str, Any]
) -> Iterator[Mistake]:
    """Yield every contradiction within the dialect, and of it with what programs must tell."""
    path: KeyPath = ("machine", "dialect")
    written = machine.get("dialect")
    told = filled(DialectTable, written if isinstance(written, dict) else None)
    decimals, comments = told["decimals"], told["comments"]
    if decimals is not None and decimals < ARC_DECIMALS and told["arcs"]:
        words = f"must be at least {ARC_DECIMALS} where arcs = true: rounding takes more than the"
        yield wrong((*path, "decimals"), f"{words} 0.002 mm that an arc's radii may differ by")
    heights = ["clearance"] if machine.get("tool_change") == "files" else ["clearance", "above"]
    for key in heights:
        height = machine.get(key)
        if height and decimals and abs(round(height, decimals) - height) > 1e-9:
            words = f"must have no more than the {decimals} decimals of [machine.dialect]"
            yield wrong(("machine", key), f"{words}; got {height!r}")
    if comments == "none" and registration.get("probe"):
        words = 'must not be "none" where holes are touched: a stop tells what to write down'
        yield wrong((*path, "comments"), words)
    if comments == "none" and machine.get("tool_change") not in (None, "files"):
        words = 'must not be "none" where one file has several cutters: a stop tells which comes'
        yield wrong((*path, "comments"), words)
    for key in ("start_lines", "end_lines"):
        for i, line in enumerate(told[key] or ()):
            fault = unfit(line, comments or "brackets")
            if fault:
                yield wrong((*path, key, i), f"{fault}; got {plain(line)}")


def unfit(line: str, comments: Comments) -> str | None:
    """Why a person's own line cannot stand in a program; None when it can."""
    if not (line.isascii() and line.isprintable()):
        return "must be printable ASCII in one line"
    bare = line
    if comments == "brackets":
        bare = re.sub(r"\([^()]*\)", "", line)
    elif comments == "semicolon":
        bare = line.partition(";")[0]
    if any(letter in bare for letter in "();"):
        return f"has a comment otherwise than comments = {plain(comments)} says"
    bare = re.sub(r"[ \t]", "", bare).upper()
    words = re.findall(r"([A-Z])([0-9]*\.?[0-9]*)", bare)
    if "".join(letter + digits for letter, digits in words) != bare:
        return "is no line of RS-274"
    seen: set[str] = set()
    codes = set()
    for letter, digits in words:
        word = letter + digits
        if letter in "GM" and digits.strip("."):
            word = f"{letter}{float(digits):g}"
            codes.add(word)
        group = "P" if letter == "P" and digits.strip(".") else ALLOWED.get(word)
        if group is None:
            return (
                f"has {word}, which may not stand there: it must move nothing and leave places, "
                "lengths and spindle alone"
            )
        if group in seen:
            return f"has two words of one group, {word} the second"
        seen.add(group)
    if ("P" in seen) != ("G4" in codes):
        return "has G4 without P, or P without G4"
    return None
