"""The mill: the table [machine] of the job."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from pydantic.dataclasses import dataclass

from millprep.model.blank import Box
from millprep.model.dialect import Dialect, ToolChange, log_fault
from millprep.model.job.keys import (
    FASTEST_FEED,
    FASTEST_SPINDLE,
    NAME_ALLOWED,
    TABLE,
    JobTable,
    Name,
    NotNegative,
    PositivePair,
    Words,
    choice,
    entry,
    number,
    preset_key,
)
from millprep.model.job.mistakes import Mistake, check, plain, wrong
from millprep.model.machine_time import ACCELERATION, TimePlan

Spindle = Literal["program", "hand"]
SurfaceProbe = Literal["electrical", "switch"]
PathMode = Literal["exact path", "blending", "unstated"]


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class Machine(JobTable):
    """What the machine can do, in the work coordinates its programs are written in."""

    preset: str | None = preset_key(
        "machine", "Ready-made machine to start from; keys written here replace its values"
    )
    name: Name = entry("What the reports call the machine", NAME_ALLOWED)
    travel_size: PositivePair = entry(
        "How far the spindle's axis travels, [x, y]",
        "two plain numbers in mm above 0, [x, y]",
        key="travel",
        unit="mm",
    )
    zero: tuple[NotNegative, NotNegative] = entry(
        "Place of the work zero, measured from the lower-left corner of the travel, [x, y]",
        "two plain numbers in mm within the travel, [x, y]",
        unit="mm",
        default=(0.0, 0.0),
        words="[0, 0]",
    )
    travel_margin: float = number(
        "How far every motion keeps from the ends of the travel, upward and downward as well",
        "mm",
        default=2.0,
        least=0,
        most=100,
    )
    above: float = number(
        "Free travel above the copper surface: the height, in work coordinates, at which programs "
        "begin and end, less travel_margin; state what is left with the longest cutter",
        "mm",
        above=0,
        most=1000,
    )
    below: float = number("Free travel below the copper surface", "mm", above=0, most=1000)
    clearance: float = number(
        "Height of rapid moves above the copper surface; clamp_clearance above every clamp they "
        "cross",
        "mm",
        default=5.0,
        above=0,
        most=1000,
    )
    approach: float = number(
        "Height above the highest copper, flatness included, down to which rapid moves go before "
        "the cutter feeds; as high as clearance, it feeds all the way",
        "mm",
        default=0.5,
        above=0,
        most=1000,
    )
    hop_height: float = number(
        "Height above the highest copper of hops: rapid moves between cuts, off clamps and pins",
        "mm",
        default=0.5,
        above=0,
        most=1000,
    )
    clamp_clearance: float = number(
        "How far cutter, shank and collet nut keep from every clamp, in height and sideways",
        "mm",
        default=2.0,
        least=0,
        most=100,
    )
    rapid: float = number(
        "Speed of rapid moves, for the time estimate only",
        "mm/min",
        otherwise=lambda _, machine: machine.max_feed,
        words="max_feed",
        above=0,
        most=FASTEST_FEED,
    )
    max_feed: float = number("Fastest feed along a path", "mm/min", above=0, most=FASTEST_FEED)
    max_plunge: float = number(
        "Fastest feed straight down, the spindle on", "mm/min", above=0, most=FASTEST_FEED
    )
    max_spindle: float = number("Fastest spindle", "rev/min", above=0, most=FASTEST_SPINDLE)
    spindle: Spindle = choice(
        "Who switches the spindle; by hand, programs stop and ask for it before contact", Spindle
    )
    lift_force: float = number(
        "Pull of a cutter upwards, against which the blank must be held; 2 N is assumed, a vee "
        "pulls 1 to 3 N (common practice, no source)",
        "N",
        default=2.0,
        least=0,
        most=200,
    )
    dwell: float = number(
        "Wait after the spindle starts, before contact", "s", default=3.0, least=0, most=120
    )
    collet: float = number(
        "Diameter of the collet nut, which must clear the clamps", "mm", above=0, most=200
    )
    screw_lead: float | None = number(
        "Travel for one turn of the lead screw; shifts between passes become multiples of it",
        "mm",
        default=None,
        words="unknown",
        above=0,
        most=100,
    )
    scale_error: float | None = number(
        "How much a metre of travel is too long, measured; boards grow by it, joins do not",
        "mm/m",
        default=None,
        words="not given",
        least=-20,
        most=20,
    )
    squareness: float | None = number(
        "How far the angle between the axes is off 90, measured; boards lean by it, joins do not",
        "degrees",
        default=None,
        words="not given",
        least=-2,
        most=2,
    )
    periodic_error: float | None = number(
        "Amplitude of the error that repeats with every turn of the lead screw; it cancels at "
        "joins when the shift is a multiple of screw_lead",
        "mm",
        default=None,
        words="not given",
        least=0,
        most=1,
    )
    backlash: float | None = number(
        "Play of an axis when it turns back; counted at joins that it can move",
        "mm",
        default=None,
        words="not given",
        least=0,
        most=1,
    )
    tool_change: ToolChange = choice(
        "How cutters are changed: a file for each; or one file for a pass, which stops for a "
        "person to change the cutter, or in which the machine changes it. Z is zeroed again with "
        "each cutter",
        ToolChange,
        default="files",
    )
    surface_probe: SurfaceProbe = choice(
        "What senses that a surface is touched: the cutter itself, which closes a circuit with the "
        "copper, or a probe with a switch of its own",
        SurfaceProbe,
        default="electrical",
    )
    probe_log: Words | None = entry(
        "Regular expression with groups (?P<x>…), (?P<y>…) and (?P<z>…) that picks a touch from a "
        "line of what the machine logs while it probes",
        "a regular expression with groups named x, y and z",
        default=None,
        words="none: the program stops after each touch for a person to write z down",
    )
    probe_repeatability: float | None = number(
        "Standard deviation of one touch of a surface, measured",
        "mm",
        default=None,
        words="0.005, assumed",
        above=0,
        most=1,
    )
    path_mode: PathMode = choice(
        "How corners are run: G61 follows the path exactly, G64 blends moves and cuts corners "
        "short; unstated for a controller that takes neither, which may blend",
        PathMode,
        default="exact path",
    )
    path_tolerance: float | None = number(
        "How far blending may leave the path, for a controller that takes P with G64",
        "mm",
        default=None,
        words="none: G64 without P",
        above=0,
        most=1,
    )
    acceleration: float | None = number(
        "Acceleration of the axes, for the running time and for how short blending cuts corners",
        "mm/s²",
        default=None,
        words=f"not given; {ACCELERATION:g}, assumed, for the running time",
        above=0,
        most=100_000,
    )
    time: TimePlan = entry(
        "Minutes of a person at the machine, and what runs really took",
        "a table headed [machine.time]",
        default=TimePlan(),
        words="the defaults of its keys",
    )
    dialect: Dialect = entry(
        "What of RS-274 its controller understands",
        "a table headed [machine.dialect]",
        default=Dialect(),
        words="the defaults of its keys",
    )

    @property
    def travel(self) -> Box:
        """Where the spindle's axis can go in x and y; the work zero is (0, 0)."""
        (x, y), (zero_x, zero_y) = self.travel_size, self.zero
        return Box(0.0 - zero_x, 0.0 - zero_y, x - zero_x, y - zero_y)

    @property
    def reachable(self) -> Box:
        """Where programs move the spindle's axis: the travel less its margin."""
        return self.travel.grown(-self.travel_margin)

    @property
    def top(self) -> float:
        """The highest Z of any program, mm: the free travel less its margin, in whole digits."""
        digits = 10.0**self.dialect.decimals
        return math.floor((self.above - self.travel_margin) * digits + 1e-6) / digits

    @property
    def reachable_words(self) -> str:
        """The travel as findings name it."""
        margin = self.travel_margin
        less = f" less travel_margin of {margin:g} mm at each end"
        return f"the travel{less if margin else ''}"

    @property
    def spindle_by_program(self) -> bool:
        """False when a person switches the spindle."""
        return self.spindle == "program"

    @property
    def path_words(self) -> str | None:
        """What programs say of the path; None for nothing."""
        if self.path_mode == "unstated":
            return None
        if self.path_mode == "exact path":
            return "G61"
        p = self.path_tolerance
        return "G64" if p is None else f"G64 P{p:.{self.dialect.decimals}f}"

    def cut_short(self, feed: float) -> float:
        """How far from a corner's tip the tool may pass at a feed in mm/min, mm.

        Blending without a tolerance starts the next move as the last one slows down. At a right
        angle both ramps overlap, v² / (8 · a) before and after the corner are cut off in their
        middle, and the tool passes it by less than the sum, v² / (4 · a), which is counted.
        """
        if self.path_mode == "exact path":
            return 0.0
        if self.path_tolerance is not None:
            return self.path_tolerance
        assert self.acceleration is not None  # _corners_are_known
        return (min(feed, self.max_feed) / 60) ** 2 / (4 * self.acceleration)

    @check
    def _corners_are_known(self) -> Iterator[Mistake]:
        if self.path_tolerance is not None and self.path_mode != "blending":
            words = f"must be left out with path_mode = {plain(self.path_mode)}: only blending has "
            yield wrong(("path_tolerance",), words + "a tolerance")
        elif self.path_mode != "exact path" and self.path_tolerance is self.acceleration is None:
            words = f"must be given with path_mode = {plain(self.path_mode)}: it says how short "
            yield wrong(("acceleration",), words + "corners are cut")

    @check
    def _own_lines_agree_on_the_path(self) -> Iterator[Mistake]:
        yield from self.dialect.other_paths(self.path_words, self.path_tolerance)

    @check
    def _clearance_within_travel(self) -> Iterator[Mistake]:
        if self.clearance > self.top:
            words = f"must be at most {self.top:g} mm, the free travel above the copper"
            words += f" less travel_margin; got {self.clearance:g}"
            yield wrong(("clearance",), words)

    @check
    def _margin_leaves_travel(self) -> Iterator[Mistake]:
        half = min(*self.travel_size, self.below * 2) / 2
        if self.travel_margin >= half:
            words = f"must leave travel on all axes, so be below {half:g} mm"
            yield wrong(("travel_margin",), f"{words}; got {self.travel_margin:g}")

    @check
    def _zero_within_travel(self) -> Iterator[Mistake]:
        if any(zero > size for zero, size in zip(self.zero, self.travel_size, strict=True)):
            words = f"must lie within the travel {plain(self.travel_size)}; got {plain(self.zero)}"
            yield wrong(("zero",), words)

    @check
    def _log_picks_a_touch(self) -> Iterator[Mistake]:
        fault = None if self.probe_log is None else log_fault(self.probe_log)
        if fault:
            yield wrong(("probe_log",), fault)

    @check
    def _heights_have_the_decimals(self) -> Iterator[Mistake]:
        decimals = self.dialect.decimals
        for key in ("clearance", "path_tolerance"):
            height = getattr(self, key)
            if height is not None and abs(round(height, decimals) - height) > 1e-9:
                words = f"must have no more than the {decimals} decimals of [machine.dialect]"
                yield wrong((key,), f"{words}; got {height!r}")

    @check
    def _a_change_of_cutters_needs_comments(self) -> Iterator[Mistake]:
        if self.dialect.comments == "none" and self.tool_change != "files":
            words = 'must not be "none" where one file has several cutters: a comment says which '
            yield wrong(("dialect", "comments"), words + "cutter comes next")
