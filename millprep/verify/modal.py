"""The modal words of RS-274 as tables: NISTIR 6556, tables 4 and 5, and section 3.6.1."""

from __future__ import annotations

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

UNPROVED: dict[int, str] = {
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
    "P": frozenset((40, 820)),
    "Q": frozenset((830,)),
    "R": frozenset((20, 30, 810, 820, 830)),
    "D": frozenset(),
    "H": frozenset(),
}
"""For each argument letter the codes that take it; a letter with no taker is an error."""

CYCLES = frozenset((810, 820, 830))
ARCS = frozenset((20, 30))
MOST_M = 4
"""M words allowed in one line, 3.3.3."""


def spelt(code: int) -> str:
    """The G word of a code in tenths.

    >>> spelt(382), spelt(10)
    ('G38.2', 'G1')
    """
    whole, tenth = divmod(code, 10)
    return f"G{whole}.{tenth}" if tenth else f"G{whole}"
