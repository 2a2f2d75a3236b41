"""How the blank lies on the machine, what holds it, and how it is located after it was moved."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, Literal

from pydantic.dataclasses import dataclass

from millprep.model.blank import AREAS_ALLOWED, Areas, Clamp
from millprep.model.cutter import (
    CUTTER_ALLOWED,
    CUTTERS_ALLOWED,
    Drill,
    EndMill,
    HoleMaker,
    NamedEndMill,
    each_once,
)
from millprep.model.job.keys import TABLE, JobTable, Pair, choice, entry, flag, number
from millprep.model.job.mistakes import Mistake, check, known, plain, wrong

if TYPE_CHECKING:
    from millprep.model.job.job import JobPlan


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class SetupTable(JobTable):
    """How the blank lies on the machine and what holds it."""

    origin: Pair = entry(
        "Machine coordinates of the blank's lower-left corner in pass 1, [x, y]",
        "two plain numbers in mm, [x, y]",
        unit="mm",
        default=(0.0, 0.0),
        words="the work zero",
    )
    touch: Pair | None = entry(
        "Where z is zeroed on the copper after each cutter change, machine coordinates, [x, y]; "
        "never cut",
        "two plain numbers in mm within the travel, [x, y]",
        unit="mm",
        default=None,
        words="chosen for you",
    )
    tape: Areas = entry(
        "Where double-sided tape holds the blank: true for all of it, or areas in machine "
        "coordinates, in every pass",
        AREAS_ALLOWED,
        default=False,
    )
    vacuum: Areas = entry(
        "Where vacuum holds the blank: true for all of it, or areas in machine coordinates, in "
        "every pass",
        AREAS_ALLOWED,
        default=False,
    )
    turn: bool = flag(
        "Whether a blank longer than the travel is turned by half a turn for a second pass, so "
        "that both halves are cut from the same side, instead of being moved along",
        default=False,
    )
    clamps: tuple[Clamp, ...] = entry(
        "The clamps, one [[setup.clamp]] each; at least one unless tape or vacuum holds the blank",
        "tables headed [[setup.clamp]]",
        key="clamp",
        default=(),
        words="none",
    )

    @check
    def _something_holds(self) -> Iterator[Mistake]:
        if not (self.tape or self.vacuum or self.clamps):
            words = "names nothing that holds the blank; list [[setup.clamp]] or say tape = true"
            yield Mistake("job-missing-key", (), words)


Method = Literal["pins", "measure"]
SecondHole = Literal["slot", "relieved pin", "round"]
Probe = Literal["none", "electrical"]

PIN_DEPTH = 4.5
ASSUMED_ERROR = 0.03
"""Of one registration hole per axis, drilling and locating together, mm; nobody measured it."""
HALF_ERROR = ASSUMED_ERROR / math.sqrt(2)
PLAY = 0.4
"""Play around the tip in a locating hole, at least, when the tool chooses the tip, mm: a blank put
back by eye lies this near; common practice, no source."""
LEAST_PLAY = 0.2
"""The least play that a named tip may leave, mm."""


def _drilling_cutters(job: JobPlan, _: object) -> tuple[Drill | EndMill, ...]:
    borer = job.drilling.borer
    cutters: list[Drill | EndMill] = [*([borer] if borer else []), *job.drilling.cutters]
    # one that is named twice there is no second mistake here
    return tuple({cutter.name: cutter for cutter in cutters}.values())


def _widest_tip(job: JobPlan, registration: RegistrationPlan) -> EndMill | None:
    """The widest end mill that leaves `PLAY` around it; the first by name of equal ones."""
    if registration.probe == "none":
        return None
    fit = [
        (-size, cutter.name, cutter)
        for cutter in job.cutters
        if isinstance(cutter, EndMill)
        and (size := known(cutter, "diameter")) is not None
        and size <= registration.hole - 2 * PLAY + 1e-9
    ]
    return min(fit, key=lambda tip: tip[:2])[2] if fit else None


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class RegistrationPlan(JobTable):
    """How a blank is located again after it was moved; only long boards need it."""

    method: Method = choice(
        "Pins in the spoilboard, or holes that are measured and typed in", Method, default="pins"
    )
    hole: float = number(
        "Diameter of the locating holes in the blank, a slip fit on 3 mm pins",
        "mm",
        default=3.02,
        above=0,
        most=20,
    )
    key: float = number(
        "Diameter of the key hole, larger than the locating holes",
        "mm",
        default=4.0,
        above=0,
        most=30,
    )
    wall: float = number(
        "Laminate left around every registration hole, and spoilboard around every pin, at least",
        "mm",
        default=2.0,
        above=0,
        most=100,
    )
    cutters: tuple[HoleMaker, ...] = entry(
        "Drills or end mills that may make the holes",
        CUTTERS_ALLOWED,
        otherwise=_drilling_cutters,
        words="the borer and the cutters of [drilling]",
    )
    second_hole: SecondHole = choice(
        "What the second locating hole fixes the turn with: a slot as long as the key is wide, a "
        "round hole over a pin relieved on two sides, or a round hole over a round pin, which "
        "often does not go on",
        SecondHole,
        default="slot",
    )
    pin: float = number(
        "Diameter of the holes in the spoilboard, a press fit on 3 mm pins",
        "mm",
        default=2.98,
        above=0,
        most=20,
    )
    pin_diameter: float = number(
        "Diameter of the pins",
        "mm",
        otherwise=lambda _, registration: (registration.hole + registration.pin) / 2,
        words="midway between hole and pin",
        above=0,
        most=20,
    )
    pin_flats: float = number(
        "Width of a relieved pin along the line through both pins, where it is not relieved across",
        "mm",
        default=0.5,
        above=0,
        most=20,
    )
    pin_depth: float = number(
        "Depth of the holes in the spoilboard",
        "mm",
        otherwise=lambda job, _: min(PIN_DEPTH, 0.75 * job.drilling.spoilboard),
        words="4.5, or three quarters of the spoilboard if that is less",
        above=0,
        most=100,
    )
    overrun: float = number(
        "How far each side of a join is cut past it", "mm", default=0.4, least=0, most=100
    )
    drill_error: float | None = number(
        "Standard deviation of a drilled hole's place, per axis",
        "mm",
        default=None,
        words="with locate_error 0.03 in total, assumed",
        above=0,
        most=1,
    )
    locate_error: float | None = number(
        "Standard deviation of locating a hole again, per axis",
        "mm",
        default=None,
        words="with drill_error 0.03 in total, assumed",
        above=0,
        most=1,
    )
    probe: Probe = choice(
        "How measured holes are located: by a person, or by a program whose tip touches the copper "
        "rims and closes a circuit; needs copper around the holes",
        Probe,
        default="none",
    )
    probe_cutter: NamedEndMill | None = entry(
        "The tip that touches: a plain pin entered as an end mill, or an end mill",
        CUTTER_ALLOWED,
        default=None,
        otherwise=_widest_tip,
        words="the widest end mill that leaves 0.4 mm around it in the locating holes",
    )
    probe_depth: float = number(
        "Depth of the tip below the copper while it touches",
        "mm",
        default=0.4,
        above=0,
        most=10,
    )
    probe_feed: float = number("Feed of every touch", "mm/min", default=30.0, above=0, most=100)
    probe_error: float = number(
        "Standard deviation of one touch",
        "mm",
        default=0.01,
        words="0.01, assumed",
        above=0,
        most=1,
    )
    verniers: bool = flag(
        "Engrave verniers that show the misalignment of two passes, where the margins have room",
        default=True,
    )

    @property
    def tip(self) -> EndMill:
        """What touches the holes.

        Raises:
            ValueError: where a person locates them.
        """
        if self.probe_cutter is None:
            raise ValueError("nothing touches the holes")
        return self.probe_cutter

    @property
    def assumed(self) -> bool:
        """True when the job gives no error and the default is taken."""
        return self.drill_error is None and self.locate_error is None

    @property
    def sigma(self) -> float:
        """Standard deviation of one hole per axis, from drilling it and locating it again."""
        drill, locate = self.drill_error, self.locate_error
        if locate is None and self.probe != "none":
            # the centre is the mean of two touches, each with its own error
            locate = self.probe_error / math.sqrt(2)
        if drill is None and locate is None:
            return ASSUMED_ERROR
        return math.hypot(drill or HALF_ERROR, locate or HALF_ERROR)

    @property
    def slotted(self) -> bool:
        """Whether the second locating hole leaves the blank free along the line through both."""
        return self.method == "pins" and self.second_hole != "round"

    @property
    def slot(self) -> float:
        """Length of a slot's centre line, 0 where the second hole is round.

        The slot is as long as the key is wide, so that it has room wherever a key has.
        """
        return self.key - self.hole if self.slotted and self.second_hole == "slot" else 0.0

    @check
    def _each_cutter_once(self) -> Iterator[Mistake]:
        yield from each_once(self.cutters)

    @check
    def _key_above_hole(self) -> Iterator[Mistake]:
        if self.hole >= self.key:
            yield wrong(("key",), f"must be above hole, {self.hole:g} mm; got {self.key:g}")

    @check
    def _pin_fits_tighter(self) -> Iterator[Mistake]:
        if self.method == "pins" and self.pin >= self.hole:
            words = f"must be below hole, {self.hole:g} mm, for a press fit; got {self.pin:g}"
            yield wrong(("pin",), words)

    @check
    def _pin_between(self) -> Iterator[Mistake]:
        if self.method == "pins" and self.pin < self.hole:
            if not self.pin <= self.pin_diameter < self.hole:
                words = f"must be from pin, {self.pin:g}, to below hole, {self.hole:g} mm; got "
                yield wrong(("pin_diameter",), f"{words}{self.pin_diameter:g}")
            elif self.second_hole == "relieved pin" and self.pin_flats >= self.pin_diameter:
                words = f"must be below pin_diameter, {self.pin_diameter:g} mm; got "
                yield wrong(("pin_flats",), f"{words}{self.pin_flats:g}")

    @check
    def _probe_measures(self) -> Iterator[Mistake]:
        if self.probe != "none" and self.method == "pins":
            words = 'needs method = "measure": holes on pins cannot be touched from within'
            yield wrong(("probe",), words)

    @check
    def _tip_goes_in(self) -> Iterator[Mistake]:
        if self.probe == "none":
            return
        hole, tip = self.hole, self.probe_cutter
        if tip is None:
            words = f"finds no end mill up to {hole - 2 * PLAY:.2f} mm to touch holes of {hole:g} "
            words += "mm with; define a pin as an end mill and name it in probe_cutter"
            yield wrong(("probe",), words)
        elif tip.diameter > hole - 2 * LEAST_PLAY:
            words = f"must be at most {hole - 2 * LEAST_PLAY:.2f} mm wide to go into holes of "
            words += f"{hole:g} mm; {plain(tip.name)} is {tip.diameter:g} mm"
            yield wrong(("probe_cutter",), words)
