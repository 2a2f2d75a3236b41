"""The codes of one line sorted by modal group: NISTIR 6556, table 4 and section 3.4."""

from __future__ import annotations

from collections.abc import Iterable

from millprep.verify.block import Fault
from millprep.verify.modal import G_GROUP, M_GROUP, MOST_M, UNPROVED, USERS, spelt


def grouped_g(codes: tuple[int, ...]) -> dict[str, int]:
    """The G codes of a line by modal group.

    Raises:
        Fault: for two of a group, for no code of the report, and for one that is not proved.
    """
    found: dict[str, int] = {}
    for code in codes:
        group = G_GROUP.get(code)
        if group is None:
            raise Fault(f"{spelt(code)} is no code of RS-274")
        if code in UNPROVED:
            raise Fault(f"{spelt(code)}: {UNPROVED[code]} cannot be proved", standard=False)
        if group in found:
            raise Fault(f"{spelt(found[group])} and {spelt(code)} are of one modal group")
        found[group] = code
    return found


def grouped_m(codes: tuple[int, ...]) -> dict[str, int]:
    """The M codes of a line by modal group.

    Raises:
        Fault: for more than four, two of a group, and for no code of the report.
    """
    found: dict[str, int] = {}
    if len(codes) > MOST_M:
        raise Fault(f"{len(codes)} M words in a line, {MOST_M} are allowed")
    for code in codes:
        group = M_GROUP.get(code)
        if group is None:
            raise Fault(f"M{code} is no code of RS-274")
        if code == 60:
            raise Fault("M60: pallets cannot be proved", standard=False)
        if group in found:
            raise Fault(f"M{found[group]} and M{code} are of one modal group")
        found[group] = code
    return found


def check_letters(letters: Iterable[str], codes: set[int | None]) -> None:
    """Refuse a word that no code of its line takes, and turning axes."""
    for letter in letters:
        if letter in "ABC":
            raise Fault(f"{letter}: turning axes are not proved", standard=False)
        takers = USERS.get(letter)
        if takers is not None and not takers & codes:
            raise Fault(f"the word {letter} has no code in its line that takes it")
