"""One line of RS-274, its words and their modal groups: NISTIR 6556, sections 3.3 to 3.6."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import NamedTuple

from millprep.model.dialect import Comments

# G codes in tenths.
G_GROUP: dict[int, str] = {
    **dict.fromkeys((0, 10, 20, 30, 382, 800, 810, 820, 830), "motion"),
    **dict.fromkeys((840, 850, 860, 870, 880, 890), "motion"),
    **dict.fromkeys((170, 180, 190), "plane"),
    **dict.fromkeys((900, 910), "distance"),
    **dict.fromkeys((930, 940), "feed mode"),
    **dict.fromkeys((200, 210), "units"),
    **dict.fromkeys((400, 410, 420), "cutter compensation"),
    **dict.fromkeys((430, 490), "tool length"),
    **dict.fromkeys((980, 990), "return"),
    **dict.fromkeys((540, 550, 560, 570, 580, 590, 591, 592, 593), "system"),
    **dict.fromkeys((610, 611, 640), "path"),
    **dict.fromkeys((40, 100, 280, 300, 530, 920, 921, 922, 923), "non-modal"),
}
M_GROUP: dict[int, str] = {
    **dict.fromkeys((0, 1, 2, 30, 60), "stopping"),
    6: "tool change",
    **dict.fromkeys((3, 4, 5), "spindle"),
    **dict.fromkeys((7, 8, 9), "coolant"),
    **dict.fromkeys((48, 49), "overrides"),
}

RESET: dict[str, int] = {
    "motion": 10, "plane": 170, "distance": 900, "feed mode": 940,
    "cutter compensation": 400, "tool length": 490, "system": 540, "return": 990,
}  # fmt: skip
"""What M2 and M30 leave, 3.6.1: what a program may find. The unit is not among them.

The report is silent on G98 and G99; the lower way back, G99, is the one to be afraid of."""

NO_EFFECT_IN_FILE: dict[int, str] = {
    **dict.fromkeys((180, 190), "arcs in this plane"),
    930: "inverse time feed",
    **dict.fromkeys((410, 420), "cutter compensation"),
    430: "tool length offsets",
    **dict.fromkeys((550, 560, 570, 580, 590, 591, 592, 593), "other coordinate systems"),
    **dict.fromkeys((100, 920, 921, 922, 923), "moving the origin"),
    **dict.fromkeys((280, 300, 530), "moves in machine coordinates"),
    **dict.fromkeys((840, 850, 860, 870, 880, 890), "this canned cycle"),
}
"""Codes the report allows whose effect cannot be known from the file, or that no board needs."""

USERS: dict[str, frozenset[int]] = {
    "I": frozenset((20, 30)),
    "J": frozenset((20, 30)),
    "K": frozenset(),
    "L": frozenset((810, 820, 830)),
    "P": frozenset((40, 820, 640)),
    "Q": frozenset((830,)),
    "R": frozenset((20, 30, 810, 820, 830)),
    "D": frozenset(),
    "H": frozenset(),
}
"""For each argument letter the codes that take it; a letter with no taker is an error.

P with G64, a tolerance, is no word of the report; only where a dialect is known it is read."""

MODES = (
    "plane", "distance", "feed mode", "units", "cutter compensation", "tool length", "system",
    "motion",
)  # fmt: skip
"""Groups whose words stay in force for all that follows."""
CYCLES = frozenset((810, 820, 830))
ARCS = frozenset((20, 30))
MOST_M = 4
"""M words allowed in one line, 3.3.3."""
LONGEST_LINE = 256
"""Characters a line may hold, 3.3."""
_LETTERS = "ABCDFGHIJKLMPQRSTXYZ"
_NUMBER = r"[+-]?(?:\d+\.?\d*|\.\d+)"
_LINE = re.compile(rf"(/?)(?:N(\d{{1,5}}))?((?:[{_LETTERS}]{_NUMBER})*)", re.ASCII)
_WORD = re.compile(rf"([A-Z])({_NUMBER})", re.ASCII)
ERROR, UNPROVED, DIFFERS = "rs274-error", "rs274-unproved", "dialect-differs"
"""What a line is refused for: the report, what cannot be known from a file, the dialect."""
UNSAFE = "character-unsafe"
_COMMANDS = re.compile(r"[!~\x00-\x08\x0a-\x1f\x7f]")
"""Characters that some controllers carry out wherever they are, or take for the end of a line."""


def spelt(code: int) -> str:
    """The G word of a code in tenths.

    >>> spelt(382), spelt(10)
    ('G38.2', 'G1')
    """
    whole, tenth = divmod(code, 10)
    return f"G{whole}.{tenth}" if tenth else f"G{whole}"


class Fault(Exception):  # noqa: N818 - caught in the reader and turned into a finding
    """Why a line is refused."""

    def __init__(self, message: str, *, standard: bool = True, code: str | None = None) -> None:
        self.message = message
        self.code = code or (ERROR if standard else UNPROVED)
        super().__init__(message)


class Block(NamedTuple):
    """The words of one line; `codes` of G are in tenths (G38.2 is 382), so that they compare."""

    deletable: bool
    g: tuple[int, ...]
    m: tuple[int, ...]
    words: dict[str, float]
    comment: str
    number: int | None
    text: str


def parse(raw: str, comments: Comments) -> Block:
    """The words of one line, without its line end; `text` is the line without its comments.

    Raises:
        Fault: for a line the report refuses, or a comment that is not of the given kind.
    """
    if len(raw) > LONGEST_LINE:
        raise Fault(f"the line holds {len(raw)} characters, {LONGEST_LINE} are allowed")
    text, comment = raw, ""
    if "(" in raw or ")" in raw or ";" in raw:
        text, comment = _without_comment(raw, comments)
    text = text.replace(" ", "").replace("\t", "").upper()
    match = _LINE.fullmatch(text)
    if match is None:
        raise Fault(_what_is_wrong(text))
    g: list[int] = []
    m: list[int] = []
    words: dict[str, float] = {}
    for letter, digits in _WORD.findall(match[3]):
        value = float(digits)
        if letter == "G":
            g.append(_near(value * 10, f"G{digits}"))
        elif letter == "M":
            m.append(_near(value, f"M{digits}"))
        elif letter in words:
            raise Fault(f"the word {letter} is twice in the line")
        else:
            words[letter] = value
    number = int(match[2]) if match[2] else None
    return Block(bool(match[1]), tuple(g), tuple(m), words, comment, number, text)


def check_characters(raw: str) -> None:
    """Refuse a character that is a command to some controllers, even in a comment.

    Raises:
        Fault: for the first one.
    """
    match = _COMMANDS.search(raw)
    if match is not None:
        words = f"the character {match[0]!r}, which some controllers take for a command or the end "
        raise Fault(f"{words}of a line, even in a comment", code=UNSAFE)


_PLAIN = frozenset("XYZFST")
"""Letters that need no code of their line."""


def whole(value: float, name: str) -> int:
    """The integer within 0.0001 of a value, 3.3.2.1.

    Raises:
        Fault: when there is none, or it is negative.
    """
    number = _near(value, name)
    if number < 0:
        raise Fault(f"{name} must not be negative")
    return number


def _near(value: float, name: str) -> int:
    number = round(value)
    if abs(value - number) > 0.0001:
        raise Fault(f"{name} is not a whole code")
    return number


def _without_comment(raw: str, comments: Comments) -> tuple[str, str]:
    """The line without its comment, and the comment, in the way the dialect has them."""
    if comments == "brackets":
        return _uncomment(raw)
    text, _, comment = raw.partition(";")
    if comments == "none" or "(" in text or ")" in text:
        what = (
            "the dialect has none"
            if comments == "none"
            else "the dialect has them after a semicolon"
        )
        raise Fault(f"a comment in brackets or after a semicolon: {what}", code=DIFFERS)
    return text, comment.strip()


def _uncomment(raw: str) -> tuple[str, str]:
    """The line without its comments, and the last comment (the one that counts, 3.3.4)."""
    kept: list[str] = []
    comment = ""
    rest = raw
    while rest:
        before, opened, inside = rest.partition("(")
        if ")" in before:
            raise Fault("a comment is closed that was never opened")
        kept.append(before)
        if not opened:
            break
        body, closed, rest = inside.partition(")")
        if "(" in body:
            raise Fault("a comment is inside a comment")
        if not closed:
            raise Fault("a comment is not closed on its line")
        comment = body.strip()
    return "".join(kept), comment


def _what_is_wrong(text: str) -> str:
    """Words for a line that does not match."""
    rest = text.removeprefix("/")
    if re.match(r"N(?!\d{1,5}(?!\d))", rest):
        return "a line number is N and one to five digits"
    rest = re.sub(r"^N\d{1,5}", "", rest)
    while word := re.match(rf"[{_LETTERS}]{_NUMBER}", rest):
        rest = rest[word.end() :]
    first = rest[:1]
    if first in "#[":
        return "parameters and expressions are not proved, write plain numbers"
    if first and first in _LETTERS:
        return f"the word {first} has no number: {rest[:12]!r}"
    return f"{rest[:12]!r} is not a word of RS-274"


def grouped_g(codes: tuple[int, ...]) -> dict[str, int]:
    """The G codes of a line by modal group.

    Raises:
        Fault: for two of a group, for no code of the report, and for one that is not proved.
    """
    result: dict[str, int] = {}
    for code in codes:
        group = G_GROUP.get(code)
        if group is None:
            raise Fault(f"{spelt(code)} is not a code of RS-274")
        if code in NO_EFFECT_IN_FILE:
            raise Fault(
                f"{spelt(code)}: {NO_EFFECT_IN_FILE[code]} cannot be proved", standard=False
            )
        if group in result:
            raise Fault(f"{spelt(result[group])} and {spelt(code)} are of one modal group")
        result[group] = code
    return result


def grouped_m(codes: tuple[int, ...]) -> dict[str, int]:
    """The M codes of a line by modal group.

    Raises:
        Fault: for more than four, two of a group, and for no code of the report.
    """
    result: dict[str, int] = {}
    if len(codes) > MOST_M:
        raise Fault(f"{len(codes)} M words in a line, {MOST_M} are allowed")
    for code in codes:
        group = M_GROUP.get(code)
        if group is None:
            raise Fault(f"M{code} is not a code of RS-274")
        if code == 60:
            raise Fault("M60: pallets cannot be proved", standard=False)
        if group in result:
            raise Fault(f"M{result[group]} and M{code} are of one modal group")
        result[group] = code
    return result


def check_letters(letters: Iterable[str], codes: set[int | None]) -> None:
    """Refuse a word that no code of its line takes, and turning axes."""
    if _PLAIN.issuperset(letters):
        return
    for letter in letters:
        if letter in "ABC":
            raise Fault(f"{letter}: turning axes are not proved", standard=False)
        takers = USERS.get(letter)
        if takers is not None and not takers & codes:
            raise Fault(f"the word {letter} has no code in its line that takes it")
