"""What of RS-274 a machine's controller understands: the table [machine.dialect] of the job.

The features are those in which controllers that read NISTIR 6556 differ from it and from each
other; nothing here is about a maker.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any, Literal

from pydantic import Field
from pydantic.dataclasses import dataclass

from millprep.model.job.keys import TABLE, JobTable, choice, entry, flag, number
from millprep.model.job.mistakes import Mistake, check, plain, wrong

Comments = Literal["brackets", "semicolon", "none"]
LineEnds = Literal["lf", "crlf"]
DwellUnit = Literal["s", "ms"]
End = Literal["M2", "M30"]
ToolChange = Literal["files", "pause", "changer"]

FEWEST_DECIMALS, MOST_DECIMALS = 2, 6
ARC_DECIMALS = 3
"""Arcs need so many decimals: by NISTIR 6556, 3.5.3.2, the radii at an arc's two ends may
differ by 0.002 mm at most, and with two decimals rounding alone takes up 0.014 mm."""
FLATTENED = 0.002
"""How far a line may run from the arc that it replaces, mm."""
SHAPES = 0.011
"""Flattening, offset sagitta, gouge and arc fit of the house's table together, mm."""
PROMISED = 0.015
"""All tolerances together may move a copper edge by this much, mm."""
LAST_NUMBER = 99_999
"""A line number has five digits at most: NISTIR 6556, 3.3.1."""

GROUPS = (
    "plane: G17", "units: G21", "compensation: G40", "length: G49", "system: G54",
    "path: G61 G61.1 G64", "motion: G80", "distance: G90", "feed: G94", "return: G98 G99",
    "dwell: G4", "coolant: M7 M8 M9", "overrides: M48 M49",
)  # fmt: skip
"""Words allowed in lines of a person's own, by modal group (NISTIR 6556, table 4): they move
nothing, and leave places, lengths and spindle as they are."""
ALLOWED = {word: group for group, _, words in (g.partition(":") for g in GROUPS)
           for word in words.split()}  # fmt: skip
LONGEST_LINE = 190
Line = Annotated[str, Field(min_length=1, max_length=LONGEST_LINE)]


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class Dialect(JobTable):
    """How programs are spelt; the defaults are plain RS-274 by NISTIR 6556."""

    arcs: bool = flag(
        "Whether the controller knows arcs, G2 and G3; if not, they become lines, at most 0.002 mm "
        "off",
        default=True,
    )
    cycles: bool = flag(
        "Whether straight drilling is written as the cycles G81 and G83", default=False
    )
    comments: Comments = choice(
        "Where comments go: in brackets as the report has them, after a semicolon, or nowhere",
        Comments,
        default="brackets",
    )
    line_numbers: bool = flag(
        "Whether every line begins with N and its number in the file, 99999 at most", default=False
    )
    decimals: int = number(
        f"Decimals of every number; {ARC_DECIMALS} at least where there are arcs",
        "",
        default=4,
        least=FEWEST_DECIMALS,
        most=MOST_DECIMALS,
        whole=True,
    )
    line_ends: LineEnds = choice(
        "What ends a line: line feed, or carriage return and line feed", LineEnds, default="lf"
    )
    dwell_unit: DwellUnit = choice(
        "Unit of P in a dwell, G4: seconds as the report has it, or milliseconds",
        DwellUnit,
        default="s",
    )
    percent: bool = flag(
        "Whether the first and the last line of a file are a % alone", default=False
    )
    end: End = choice("The word that ends a program", End, default="M2")
    start_lines: tuple[Line, ...] = entry(
        "Lines copied to the start of a program, before all that it does; they may move nothing",
        'a list of lines of RS-274, such as ["M8"]',
        default=(),
        words="none",
    )
    end_lines: tuple[Line, ...] = entry(
        "Lines copied in just before the word that ends a program; they may move nothing",
        'a list of lines of RS-274, such as ["M9"]',
        default=(),
        words="none",
    )

    @property
    def digit(self) -> float:
        """The last digit, mm."""
        return float(10**-self.decimals)

    @property
    def edge(self) -> float:
        """How far a copper edge may lie off by all tolerances together, mm."""
        return SHAPES + self.digit + (0.0 if self.arcs else FLATTENED)

    def other_paths(self, words: str | None, tolerance: float | None) -> Iterator[Mistake]:
        """A mistake for each of a person's own lines that says another path than the machine.

        Args:
            words: what programs say of the path; None for nothing.
            tolerance: of blending, mm; None for a controller that takes no P with G64.
        """
        for key, lines in (("start_lines", self.start_lines), ("end_lines", self.end_lines)):
            for i, line in enumerate(lines):
                code, has_p = path_of(line, self.comments)
                if has_p and tolerance is None:
                    fault = "has P with G64: state [machine] path_tolerance if the controller takes"
                    yield wrong(("dialect", key, i), f"{fault} it; got {plain(line)}")
                elif key == "start_lines" and code and code != (words or code)[:3]:
                    fault = f"has {code}, and programs say {words} after it: set [machine]"
                    yield wrong(("dialect", key, i), f"{fault} path_mode; got {plain(line)}")

    @check
    def _decimals_for_arcs(self) -> Iterator[Mistake]:
        if self.arcs and self.decimals < ARC_DECIMALS:
            words = f"must be at least {ARC_DECIMALS} where arcs = true: rounding takes more than "
            yield wrong(("decimals",), words + "the 0.002 mm that an arc's radii may differ by")

    @check
    def _own_lines_move_nothing(self) -> Iterator[Mistake]:
        for key, lines in (("start_lines", self.start_lines), ("end_lines", self.end_lines)):
            for i, line in enumerate(lines):
                fault = unfit(line, self.comments)
                if fault:
                    yield wrong((key, i), f"{fault}; got {plain(line)}")


def path_of(line: str, comments: Comments) -> tuple[str | None, bool]:
    """What a person's own line says of the path, G61, G61.1 or G64, and whether with P."""
    code = _without_comments(line, comments)
    word = re.search(r"G0*(61\.1|6[14])(?!\d)", code)
    return (None if word is None else f"G{word[1]}"), word is not None and "P" in code


def _without_comments(line: str, comments: Comments) -> str:
    """The words of a line without blanks, in capitals."""
    if comments == "brackets":
        line = re.sub(r"\([^()]*\)", "", line)
    elif comments == "semicolon":
        line = line.partition(";")[0]
    return re.sub(r"[ \t]", "", line).upper()


def unfit(line: str, comments: Comments) -> str | None:
    """Why a person's own line cannot be in a program; None when it can."""
    if not (line.isascii() and line.isprintable()):
        return "must be printable ASCII in one line"
    if "!" in line or "~" in line:
        return "has ! or ~, which some controllers carry out wherever they are"
    code = _without_comments(line, comments)
    if any(letter in code for letter in "();"):
        return f"has a comment otherwise than comments = {plain(comments)} says"
    words = re.findall(r"([A-Z])([0-9]*\.?[0-9]*)", code)
    if "".join(letter + digits for letter, digits in words) != code:
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
                f"has {word}, which is not allowed there: a line must move nothing and leave "
                "places, lengths and spindle alone"
            )
        if group in seen:
            return f"has two words of one group, {word} the second"
        seen.add(group)
    takers = codes & {"G4", "G64"}
    if ("P" in seen) != bool(takers) and takers != {"G64"}:
        return "has G4 without P, or P without G4 or G64"
    if len(takers) == 2:
        return "has G4 and G64, which may both take P"
    return None


def log_pattern(pattern: str) -> Any:
    """A regular expression, compiled by an engine whose time grows with the length of a line only.

    Raises:
        ValueError: when that engine does not know it: what is repeated very often, and what looks
            ahead, behind or back at a group, it leaves out.
    """
    import re2

    quiet = re2.Options()
    quiet.log_errors = False
    try:
        return re2.compile(pattern, quiet)
    except re2.error as fault:
        raise ValueError(fault.args[0].decode("utf-8", "replace")) from None


def log_fault(pattern: str) -> str | None:
    """Why a regular expression does not pick touches from a machine's log; None when it does."""
    try:
        groups = set(log_pattern(pattern).groupindex)
    except ValueError as fault:
        return f"is no regular expression that can be used: {fault}; got {plain(pattern)}"
    missing = [name for name in "xyz" if name not in groups]
    if missing:
        words = ", ".join(f"(?P<{name}>…)" for name in missing)
        return f"must pick x, y and z; groups it lacks: {words}"
    return None
