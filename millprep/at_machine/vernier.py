"""Where a blank truly lies in a pass, from verniers read after the pass cut their second combs."""

from __future__ import annotations

import math
from collections.abc import Iterator

from millprep.at_machine.blank_fit import Refit, of_this_set, reported
from millprep.at_machine.reading_fit import Correction, correction
from millprep.at_machine.readings import Readings
from millprep.model.finding import Finding, Refusal
from millprep.model.milling_pass import Vernier
from millprep.report.report_model import Report


def refit(readings: Readings, report: Report, blank: int, number: int) -> Refit:
    """The blank's pose in a pass whose second combs have been cut by the old set.

    Args:
        readings: the lines that run through.
        report: of the set that is being cut.
        blank: number.
        number: of the pass.

    Raises:
        Refusal: with what is wrong with the readings.
    """
    expected = of_this_set(readings, report, blank, number)
    mine = {v.id: v for v in report.verniers(blank) if v.passes[1] == number}
    read = _read(readings, mine, blank, number)
    found = correction(read)
    if found.doubtful:
        each = ", ".join(
            f"{v.id} {r:+.3f}" for (v, _), r in zip(read, found.residuals, strict=True)
        )
        raise _refused(
            "vernier-readings-disagree",
            f"The readings do not go together: off by {each} mm after the best fit, more "
            "than 99 % of honest readings are. Read the verniers of both margins again with a "
            "lens; look whether a sign is turned.",
            blank,
            number,
        )
    # what the pass cuts lies off by the error, so the blank lies off the other way
    pose = found.error.inverse().then(expected)
    places = [v.at for v, _ in read]
    return Refit(reported(pose, expected, places), tuple(_told(found, read, blank, number)))


def _read(
    readings: Readings, mine: dict[str, Vernier], blank: int, number: int
) -> list[tuple[Vernier, float]]:
    """Verniers with their readings, in the file's order."""
    faults = []
    if not mine:
        faults.append(
            f"Pass {number} of blank {blank} has no verniers: its margins had no room for them."
        )
    for name, line in readings.verniers.items() if mine else ():
        one = mine.get(name)
        if one is None:
            faults.append(
                f"{name} is no vernier of blank {blank} pass {number}; these are: "
                f"{', '.join(mine)}."
            )
        elif abs(line) > one.reach:
            faults.append(
                f"{name} has lines from -{one.reach} to {one.reach}, the reading is {line:g}."
            )
        elif abs(line) == one.reach:
            faults.append(
                f"{name} reads its last line, so the mismatch may be larger than the "
                f"{one.largest:.2f} mm it shows. Find the blank by its holes first."
            )
    if not faults:
        kinds = {mine[name].measures for name in readings.verniers}
        for measures in sorted({"x", "y"} - kinds):
            could = ", ".join(v.id for v in mine.values() if v.measures == measures) or "none"
            faults.append(f"No vernier along {measures} was read; these are: {could}.")
    if faults:
        raise Refusal(
            [Finding(code="vernier-readings", severity="stop", message=words) for words in faults],
            exit_code=2,
        )
    return [(mine[name], line) for name, line in readings.verniers.items()]


def _told(
    found: Correction, read: list[tuple[Vernier, float]], blank: int, number: int
) -> Iterator[Finding]:
    (dx, dy), turn = found.shift, math.degrees(found.turn)
    notes = [
        (
            "refit-vernier",
            f"Pass {number} of blank {blank} cut {dx:+.3f}, {dy:+.3f} mm off, turned by "
            f"{turn:+.4f}°, by {len(read)} verniers; its programs now cut that much the other way. "
            "Do not cut its combs again: go on with the program after them.",
        )
    ]
    if not found.turn_known:
        notes.append(
            (
                "refit-vernier-no-turn",
                "The readings tell a shift and no turn: read the verniers of both margins.",
            )
        )
    elif found.spare < 1:
        notes.append(
            (
                "refit-vernier-unchecked",
                "The readings give shift and turn, and none is left to check them.",
            )
        )
    for code, message in notes:
        yield Finding(
            code=code,
            severity="note",
            message=message,
            frame="blank",
            at=found.about,
            blank=blank,
            mill_pass=number,
        )


def _refused(code: str, message: str, blank: int, number: int) -> Refusal:
    return Refusal(
        [Finding(code=code, severity="stop", message=message, blank=blank, mill_pass=number)]
    )
