"""Small words for people: numbers, durations, names that fit a line."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence

from millprep.model.by_hand import ByHand
from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.finding import many
from millprep.model.machine import Machine
from millprep.model.machine_time import ACCELERATION, RunningTime, TimeFit

WORK_WORDS = {
    "register": "registration holes",
    "isolate": "isolation",
    "clear": "clearing of copper",
    "drill": "drilling",
    "bore": "boring",
    "profile": "profile",
    "engrave": "engraving",
    "probe": "touching holes",
    "dry-run": "dry run",
}
"""Each kind of work as a person at the mill calls it."""


def plain(text: str, longest: int = 80) -> str:
    """The text on one line, without control characters, cut to `longest` characters."""
    if not text.isprintable():
        text = "".join(c if unicodedata.category(c)[0] != "C" else " " for c in text)
    line = " ".join(text.split())
    return line if len(line) <= longest else line[: longest - 1].rstrip() + "…"


def number(value: float, digits: int = 2) -> str:
    """A number without needless zeros: 12.5, 3, -0.08; never "-0"."""
    text = f"{value:.{digits}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text.replace("-", "−")


def place(at: tuple[float, float]) -> str:
    """A point in words."""
    return f"X {number(at[0])}  Y {number(at[1])}"


def duration(seconds: float) -> str:
    """Hours and minutes, or minutes and seconds."""
    whole = round(seconds)
    if whole >= 3600:
        return minutes_words(whole / 60)
    minutes, left = divmod(whole, 60)
    return f"{minutes} min {left:02d} s" if minutes else f"{left} s"


def running_words(running: RunningTime, machine: Machine, fit: TimeFit | None = None) -> str:
    """The running time with what it is compared with: feeds alone, the least, earlier runs."""
    words = f"about {minutes_words(running.seconds / 60)} running"
    if fit is not None:
        words += f" {fit_words(fit)}"
    elif machine.acceleration is None:
        words += f" (acceleration of {ACCELERATION:g} mm/s² assumed)"
    words += f"; by lengths and feeds alone {minutes_words(running.by_feeds / 60)}"
    if running.ratio is not None:
        words += f", {running.ratio:.2f} times the least for the same cuts in any order, "
        words += minutes_words(running.least / 60)
    return words


def fit_words(fit: TimeFit) -> str:
    """From how many runs an estimate is corrected, and how well it fits them."""
    words = f"by {many(fit.runs, 'earlier run')} of this machine"
    return words + (f" (each within {100 * fit.spread:.0f} %)" if fit.runs > 1 else "")


def by_hand_words(hand: ByHand) -> str:
    """What a person does besides, in minutes and counted."""
    counts = [
        many(hand.changes, "cutter change"),
        many(hand.placings, "placing"),
        many(hand.readings, "reading"),
    ]
    listed = ", ".join(words for words in counts if not words.startswith("0 "))
    assumed = " (minutes for each assumed)" if hand.assumed else ""
    return f"{minutes_words(hand.minutes)} by hand" + (f": {listed}{assumed}" if listed else "")


def minutes_words(minutes: float) -> str:
    """Hours and whole minutes."""
    hours, rest = divmod(round(minutes), 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


def cutter_words(cutter: Cutter) -> str:
    """What to look for in the tray."""
    if isinstance(cutter, Vee):
        return f"vee, {number(cutter.angle)}°, tip {number(cutter.tip, 3)} mm"
    if isinstance(cutter, EndMill):
        return f"end mill, {number(cutter.diameter, 3)} mm"
    if isinstance(cutter, Drill):
        return f"drill, {number(cutter.diameter, 3)} mm"
    return cutter.kind


def columns(rows: Sequence[tuple[str, ...]]) -> list[str]:
    """Rows as lines, the first column to the left and the others to the right."""
    widths = [max(len(row[k]) for row in rows) for k in range(len(rows[0]))]
    return [
        "  "
        + "  ".join(
            cell.ljust(width) if k == 0 else cell.rjust(width)
            for k, (cell, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]
