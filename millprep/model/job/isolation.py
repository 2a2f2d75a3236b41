"""How copper pieces are isolated from each other."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterator, Sequence
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import Field, PlainValidator, ValidationInfo, WithJsonSchema
from pydantic.dataclasses import dataclass
from pydantic_core import PydanticCustomError

from millprep.model.cutter import EndMill, Vee, named_cutter
from millprep.model.job.keys import TABLE, JobTable, choice, entry, number
from millprep.model.job.mistakes import Mistake, check, plain, wrong

Direction = Literal["climb", "conventional"]
Course = Literal["copper", "middle"]
"""Where isolation runs: along the copper, or along the medial axis of the gaps."""

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

LEAST_TIME = "least time"
COMMON_DEPTH = 0.08
"""Depth of an isolating groove unless the job says otherwise, mm (common practice, no source)."""


def _depth(value: Any) -> float | str:
    if value == LEAST_TIME:
        return LEAST_TIME
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise PydanticCustomError("depth_type", "neither a number nor the words")
    if not 0 < value <= DEEPEST:
        raise PydanticCustomError("depth_range", "out of range")
    return float(value)


DEEPEST = 5.0
_DEPTH_ALLOWED = f"a plain number in mm, above 0 and at most {DEEPEST:g}"
_NUMBER_SCHEMA = {"type": "number", "exclusiveMinimum": 0, "maximum": DEEPEST}
Depth = Annotated[
    float | str,
    PlainValidator(_depth),
    WithJsonSchema({"anyOf": [_NUMBER_SCHEMA, {"const": LEAST_TIME}]}),
]
"""Millimetres, or the words that leave it to the time that the programs take."""


class GivenCutter(NamedTuple):
    """An isolating cutter as the job gives it: with a depth of its own, mm, or without."""

    cutter: Vee | EndMill
    depth: float | None = None


def _given_cutter(value: Any, info: ValidationInfo) -> GivenCutter:
    if isinstance(value, GivenCutter):
        return value
    depth = None
    if isinstance(value, dict):
        if not {"cutter"} <= value.keys() <= {"cutter", "depth"}:
            raise PydanticCustomError("cutter_type", "not the two keys")
        depth, value = value.get("depth"), value["cutter"]
        number = isinstance(depth, int | float) and not isinstance(depth, bool)
        if depth is not None and not (number and 0 < depth <= DEEPEST):
            words = f"has the depth {plain(depth)}; it must be {_DEPTH_ALLOWED}"
            raise PydanticCustomError("job-bad-value", "{words}", {"words": words})
    cutter: Any = named_cutter("vee", "endmill")(value, info)
    return GivenCutter(cutter, None if depth is None else float(depth))


GIVEN_ALLOWED = (
    "a list of names defined as [cutters.NAME], or of { cutter = NAME, depth = mm } for a cutter "
    "with a depth of its own"
)
Given = Annotated[
    GivenCutter,
    PlainValidator(_given_cutter),
    WithJsonSchema(
        {
            "anyOf": [
                {"type": "string", "minLength": 1},
                {
                    "type": "object",
                    "properties": {
                        "cutter": {"type": "string", "minLength": 1},
                        "depth": _NUMBER_SCHEMA,
                    },
                    "required": ["cutter"],
                    "additionalProperties": False,
                },
            ]
        }
    ),
]


@dataclasses.dataclass(frozen=True, slots=True)
class CutterUse:
    """An isolating cutter at a depth of its tip, mm: the groove that it cuts."""

    cutter: Vee | EndMill
    depth: float

    @property
    def surface(self) -> float:
        """Width of the groove at the surface of the copper, mm."""
        return self.cutter.width(self.depth)

    def foot(self, copper: float) -> float:
        """Width of the groove at the foot of copper this thick, mm."""
        return self.cutter.width(self.depth, copper)

    def skirt(self, copper: float) -> float:
        """How far its edge at the foot of the copper is inside that at the surface, mm."""
        return (self.surface - self.foot(copper)) / 2


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
    given_depth: Depth = entry(
        "Depth of the tip below the copper surface; with least time millprep chooses cutters and "
        "depths that take the fewest minutes",
        f'a plain number in mm, above 0 and at most {DEEPEST:g}, or "{LEAST_TIME}"',
        key="depth",
        unit="mm",
        default=COMMON_DEPTH,
    )
    flatness: float = number(
        "How far the surface may be off, up or down", "mm", default=0.02, least=0, most=5
    )
    given_cutters: Annotated[tuple[Given, ...], Field(min_length=1)] = entry(
        "Vees or end mills that may isolate, each with a depth of its own where it has one; the "
        "widest groove that fits is cut, narrower ones where it does not fit",
        GIVEN_ALLOWED,
        key="cutters",
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

    @property
    def least_time(self) -> bool:
        """Whether depths are still to be chosen."""
        return self.given_depth == LEAST_TIME and any(g.depth is None for g in self.given_cutters)

    @property
    def depth(self) -> float:
        """Depth of all that has none of its own, mm."""
        return COMMON_DEPTH if isinstance(self.given_depth, str) else self.given_depth

    @property
    def cutters(self) -> tuple[Vee | EndMill, ...]:
        """Every isolating cutter once, in the order of the job."""
        return tuple({given.cutter.name: given.cutter for given in self.given_cutters}.values())

    @property
    def uses(self) -> tuple[CutterUse, ...]:
        """Cutters with their depths, the widest groove first.

        Raises:
            ValueError: while depths are still to be chosen.
        """
        if self.least_time:
            raise ValueError("depths of isolation are still to be chosen")
        uses = [CutterUse(g.cutter, g.depth or self.depth) for g in self.given_cutters]
        return tuple(sorted(uses, key=lambda use: -use.surface))

    def with_uses(self, uses: Sequence[CutterUse]) -> IsolationPlan:
        """The plan with these cutters and depths alone."""
        given = tuple(GivenCutter(use.cutter, use.depth) for use in uses)
        return dataclasses.replace(self, given_cutters=given)

    @check
    def _each_cutter_once(self) -> Iterator[Mistake]:
        for i, given in enumerate(self.given_cutters):
            if given in self.given_cutters[:i]:
                words = f"names {plain(given.cutter.name)} a second time; once is enough"
                yield wrong(("cutters", i), words)

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
