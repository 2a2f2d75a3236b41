"""What is cut, and how: isolation, clearing, holes, profiles.

Defaults that are the trade's habit rather than anybody's finding are common practice,
no source: depth of a vee cut 0.06 to 0.10 mm, breakthrough 0.2 to 0.3 mm, a tab every
60 to 80 mm. What could spoil a board or a cutter has no default.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Annotated, Any, Literal

from pydantic import Field, PlainValidator, ValidationInfo, WithJsonSchema
from pydantic.dataclasses import dataclass
from pydantic_core import PydanticCustomError

from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.job.keys import LARGEST, TABLE, JobSource, JobTable, choice, entry, number
from millprep.model.job.mistakes import Mistake, check, near, plain, quoted, settled, wrong

Direction = Literal["climb", "conventional"]
Course = Literal["copper", "middle"]
"""Where isolation runs: along the copper, or along the medial axis of the gaps."""
Floating = Literal["areas", "all"]
"""What floating copper is cleared: that of given areas, or all."""

KINDS: dict[str, type[Cutter]] = {"vee": Vee, "endmill": EndMill, "drill": Drill}
CUTTERS_ALLOWED = "a list of names defined as [cutters.NAME]"
CUTTER_ALLOWED = "a name defined as [cutters.NAME]"
_CUTTER_NAME = WithJsonSchema({"type": "string", "minLength": 1})


def _named(*kinds: str) -> Callable[[object, ValidationInfo], object]:
    """Reads a cutter of one of these kinds, which the job file gives by its name."""
    allowed = tuple(KINDS[kind] for kind in kinds)

    def read(value: object, info: ValidationInfo) -> object:
        cutter = value
        if not isinstance(value, Cutter):
            if not isinstance(value, str) or not isinstance(info.context, JobSource):
                raise PydanticCustomError("cutter_type", "no name")
            cutter = _defined(value, {c.name: c for c in info.context.job.cutters})
        # a cutter whose kind is not known has a mistake of its own
        if type(cutter) is not Cutter and not isinstance(cutter, allowed):
            kind = next(kind for kind, table in KINDS.items() if type(cutter) is table)
            words = f"must be of kind {' or '.join(kinds)}; {plain(value)} is {kind}"
            raise PydanticCustomError("job-contradiction", "{words}", {"words": words})
        return cutter

    return read


def _defined(name: str, cutters: dict[str, Cutter]) -> Cutter:
    if name not in cutters:
        words = f"names a cutter that is not defined: {plain(name)}{near(name, cutters)}"
        words += f"; defined: {quoted(cutters) or 'none'}"
        raise PydanticCustomError("job-unknown-cutter", "{words}", {"words": words})
    return cutters[name]


Engraver = Annotated[Vee | EndMill, PlainValidator(_named("vee", "endmill")), _CUTTER_NAME]
HoleMaker = Annotated[Drill | EndMill, PlainValidator(_named("drill", "endmill")), _CUTTER_NAME]
NamedDrill = Annotated[Drill, PlainValidator(_named("drill")), _CUTTER_NAME]
NamedEndMill = Annotated[EndMill, PlainValidator(_named("endmill")), _CUTTER_NAME]


def each_once(cutters: Sequence[Cutter]) -> Iterator[Mistake]:
    """A mistake for each cutter of a list that is in it already."""
    for i, cutter in enumerate(cutters):
        if any(cutter is other for other in cutters[:i]):
            words = f"names {plain(cutter.name)} a second time; once is enough"
            yield wrong(("cutters", i), words)


BY_VOLTAGE = "by voltage"
WIDEST_GAP = 20.0


def _gap(value: Any) -> float | str:
    if value == BY_VOLTAGE:
        return BY_VOLTAGE
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise PydanticCustomError("gap_type", "neither a number nor the words")
    if not 0 < value <= WIDEST_GAP:
        raise PydanticCustomError("gap_range", "out of range")
    return float(value)


Gap = Annotated[
    float | str,
    PlainValidator(_gap),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "number", "exclusiveMinimum": 0, "maximum": WIDEST_GAP},
                {"const": BY_VOLTAGE},
            ]
        }
    ),
]
"""Millimetres, or the words that leave it to the voltages."""


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class IsolationPlan(JobTable):
    """How copper pieces are isolated from each other."""

    given_gap: Gap = entry(
        "Isolation width at the foot of the copper; by voltage it is as wide as [rules] spacing "
        "requires for the volts of the nets",
        f'a plain number in mm, above 0 and at most {WIDEST_GAP:g}, or "{BY_VOLTAGE}"',
        key="gap",
        unit="mm",
    )
    base_gap: float = number(
        "Isolation width everywhere before voltages widen it; unused where gap is a number",
        "mm",
        default=0.2,
        above=0,
        most=WIDEST_GAP,
    )
    pad_gap: float | None = number(
        "Isolation width around pads, the copper around holes: wider, so that solder does not "
        "bridge by hand without a solder mask",
        "mm",
        default=None,
        words="as everywhere",
        above=0,
        most=WIDEST_GAP,
    )
    course: Course = choice(
        "Where laps run: along the copper, or along the medial axis of the gaps, which leaves "
        "copper as wide as possible",
        Course,
        default="copper",
    )
    depth: float = number(
        "Depth of the tip below the copper surface", "mm", default=0.08, above=0, most=5
    )
    flatness: float = number(
        "How far the surface may be off, up or down", "mm", default=0.02, least=0, most=5
    )
    cutters: Annotated[tuple[Engraver, ...], Field(min_length=1)] = entry(
        "Vees or end mills that may isolate; the widest that fits is used", CUTTERS_ALLOWED
    )
    overlap: float = number(
        "Overlap of neighbouring laps, as a fraction of the groove's width at its foot",
        "",
        default=0.15,
        least=0,
        below=1,
    )
    direction: Direction = choice(
        "Direction of travel along the copper", Direction, default="climb"
    )

    @property
    def by_voltage(self) -> bool:
        """Whether voltages widen the gap."""
        return self.given_gap == BY_VOLTAGE

    @property
    def gap(self) -> float:
        """Isolation width everywhere, mm."""
        return self.base_gap if isinstance(self.given_gap, str) else self.given_gap

    @check
    def _each_cutter_once(self) -> Iterator[Mistake]:
        yield from each_once(self.cutters)

    @check
    def _pad_gap_wider(self) -> Iterator[Mistake]:
        if self.pad_gap is not None and self.pad_gap <= self.gap:
            words = f"must be wider than the {self.gap:g} mm that are opened everywhere; leave it "
            yield wrong(("pad_gap",), words + "out, or make it wider")

    @check
    def _medial_axis_without_voltages(self) -> Iterator[Mistake]:
        if self.course == "middle" and self.by_voltage:
            words = 'must be in mm with course = "middle", which leaves no copper between pieces '
            yield wrong(("gap",), words + "that could be cleared")

    @check
    def _medial_axis_without_pad_gap(self) -> Iterator[Mistake]:
        if self.course == "middle" and self.pad_gap is not None:
            words = 'must be left out with course = "middle", which leaves no copper between '
            yield wrong(("pad_gap",), words + "pieces that could be cleared")


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class ClearingPlan(JobTable):
    """How floating copper is cleared."""

    cutters: Annotated[tuple[Engraver, ...], Field(min_length=1)] = entry(
        "Vees or end mills that clear, the widest first; each clears what the wider ones left",
        CUTTERS_ALLOWED,
    )
    copper: Floating = choice(
        "What is cleared: the areas of [[board.clear]], or all floating copper",
        Floating,
        default="areas",
    )
    depth: float = number(
        "Depth of the tip below the copper surface",
        "mm",
        otherwise=lambda job, _: job.isolation.depth,
        words="that of [isolation]",
        above=0,
        most=5,
    )
    overlap: float = number(
        "Overlap of neighbouring laps, as a fraction of the groove's width at its foot",
        "",
        default=0.2,
        least=0,
        below=1,
    )

    @check
    def _each_cutter_once(self) -> Iterator[Mistake]:
        yield from each_once(self.cutters)


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class DrillingPlan(JobTable):
    """How holes are made."""

    cutters: tuple[NamedDrill, ...] = entry(
        "Drills that may drill; a hole takes the nearest within tolerance",
        CUTTERS_ALLOWED,
        default=(),
        words="none",
    )
    tolerance: float = number(
        "Largest difference between a hole and the drill that makes it",
        "mm",
        default=0.05,
        least=0,
        most=1,
    )
    borer: NamedEndMill | None = entry(
        "End mill that bores the holes no drill fits, and mills slots",
        CUTTER_ALLOWED,
        default=None,
        words="none",
    )
    breakthrough: float = number(
        "How far the full diameter goes below the blank", "mm", default=0.3, above=0, most=5
    )
    spoilboard: float = number(
        "Thickness of the spoilboard under the blank, which no cutter may pass",
        "mm",
        above=0,
        most=100,
    )

    @check
    def _each_cutter_once(self) -> Iterator[Mistake]:
        yield from each_once(self.cutters)

    @check
    def _points_within_spoilboard(self) -> Iterator[Mistake]:
        for i, drill in enumerate(self.cutters):
            yield from settled(self._point_within_spoilboard(i, drill))

    def _point_within_spoilboard(self, i: int, drill: Drill) -> Iterator[Mistake]:
        deepest = self.breakthrough + drill.point
        if deepest >= self.spoilboard:
            words = (
                f"would pass the spoilboard of {self.spoilboard:g} mm: the point of "
                f"{plain(drill.name)} goes {deepest:.2f} mm below the blank; use a thicker board "
                "or less breakthrough"
            )
            yield wrong(("cutters", i), words)


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class ProfilePlan(JobTable):
    """How boards are cut out."""

    cutter: NamedEndMill = entry("End mill that cuts along the outline", CUTTER_ALLOWED)
    breakthrough: float = number(
        "How deep the last depth step goes below the blank", "mm", default=0.3, above=0, most=5
    )
    tab_width: float = number(
        "Width of a holding tab where it is narrowest", "mm", default=3.0, above=0, most=100
    )
    tab_height: float = number(
        "Thickness of laminate left in a holding tab", "mm", default=0.4, above=0, most=20
    )
    tab_every: float = number(
        "Largest distance between tabs along the edge", "mm", default=70.0, above=0, most=LARGEST
    )
    ramp: float = number(
        "Angle at which the cutter enters along the path",
        "degrees",
        default=10.0,
        above=0,
        most=90,
    )
    direction: Direction = choice("Direction of travel along the board", Direction, default="climb")

    @check
    def _tabs_do_not_touch(self) -> Iterator[Mistake]:
        if self.tab_width >= self.tab_every:
            words = f"must be above tab_width, {self.tab_width:g} mm; got {self.tab_every:g}"
            yield wrong(("tab_every",), words)
