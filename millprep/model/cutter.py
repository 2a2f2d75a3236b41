"""Cutters: vee, end mill and drill, each a table [cutters.NAME]; and as other tables name them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields, replace
from typing import Annotated, Any, Literal, Self, TypeVar, cast

from pydantic import Field, PlainValidator, ValidationInfo, WithJsonSchema
from pydantic.dataclasses import dataclass
from pydantic_core import PydanticCustomError

from millprep.model.job.keys import (
    FASTEST_FEED,
    FASTEST_SPINDLE,
    TABLE,
    JobSource,
    JobTable,
    PositivePair,
    choice,
    entry,
    number,
    preset_key,
)
from millprep.model.job.mistakes import (
    Mistake,
    UnsettledError,
    check,
    known,
    near,
    plain,
    quoted,
    wrong,
)

T = TypeVar("T")
Kind = Literal["vee", "endmill", "drill"]
MOST_TEETH = 12


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class Cutter(JobTable):
    """What every cutter has.

    Attributes:
        name: the job's name; becomes part of file names.
    """

    name: str = Field()
    preset: str | None = preset_key(
        "cutter", "Ready-made cutter to start from; keys written here replace its values"
    )
    shank: float = number("Diameter of the shank", "mm", above=0, most=50)
    flute: float = number("Length that cuts, from the tip", "mm", above=0, most=200)
    stickout: float = number("Length from the tip to the collet nut", "mm", above=0, most=300)
    runout: float = number(
        "Total indicator reading at the tip; grooves may be wider by it",
        "mm",
        default=0.0,
        least=0,
        most=1,
    )
    wear: float = number(
        "Wear of the tip since it was measured; grooves may be narrower or wider by it",
        "mm",
        default=0.0,
        least=0,
        most=1,
    )
    life: float | None = number(
        "Length that it cuts before it is replaced; the log of the bench counts it",
        "m",
        default=None,
        words="not counted",
        above=0,
        most=100_000,
    )
    spindle: float = number("Spindle speed", "rev/min", above=0, most=FASTEST_SPINDLE)
    plunge: float = number("Feed straight down", "mm/min", above=0, most=FASTEST_FEED)
    chip_load: PositivePair | None = entry(
        "Least and most chip per tooth, for a drill per turn, [least, most], as its maker says",
        "two plain numbers in mm above 0, [least, most]",
        unit="mm",
        default=None,
        words="by width and laminate, common practice, no source",
    )

    @property
    def feed(self) -> float:
        """Along the path, mm/min; every kind has its own key for it."""
        raise UnsettledError("feed")

    @property
    def teeth(self) -> int:
        """Edges that cut; 1 for a drill, whose chips are counted by the turn."""
        raise UnsettledError("teeth")

    @property
    def kind(self) -> Kind:
        """vee, endmill or drill."""
        raise UnsettledError("kind")

    @property
    def shape(self) -> Self:
        """The cutter with what copper sees of it; feeds and speed are 1."""
        # every kind has its own key for the feed
        like: dict[str, Any] = {"feed": 1.0}
        return replace(
            self, preset=None, life=None, chip_load=None, spindle=1.0, plunge=1.0, **like
        )

    def width(self, depth: float, level: float = 0.0) -> float:
        """Width of the groove, `level` below the surface, when the tip is `depth` below it."""
        raise NotImplementedError

    def radius_up(self, rise: float, collet: float) -> float:
        """Of cutter, shank and, where it is that low, the collet nut, up to `rise` over the tip."""
        nut = collet if rise > self.stickout else 0.0
        return max(nut, self.shank, self.width(min(rise, self.flute))) / 2

    @check
    def _flute_within_stickout(self) -> Iterator[Mistake]:
        if self.flute > self.stickout:
            words = f"must be at most the stickout of {self.stickout:g} mm; got {self.flute:g}"
            yield wrong(("flute",), words)

    @check
    def _chip_loads_in_order(self) -> Iterator[Mistake]:
        if self.chip_load is not None and self.chip_load[0] >= self.chip_load[1]:
            words = f"must be [least, most]; got {plain(self.chip_load)}"
            yield wrong(("chip_load",), words)


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class Vee(Cutter):
    """An engraving cutter with a flat tip."""

    kind: Literal["vee"] = choice(
        "An engraving cutter with a flat tip", Literal["vee"], default="vee", words=""
    )
    tip: float = number("Width of the flat tip", "mm", least=0, most=10)
    angle: float = number("Included angle", "degrees", above=0, below=180)
    teeth: int = number("Cutting edges", "", default=1, least=1, most=MOST_TEETH, whole=True)
    deepest: float = number(
        "Deepest isolating groove that the tip bears; least time keeps to it",
        "mm",
        default=0.2,
        above=0,
        most=5,
    )
    feed: float = number("Feed along a path", "mm/min", above=0, most=FASTEST_FEED)

    def width(self, depth: float, level: float = 0.0) -> float:
        """w(z) = tip + 2·(z − z_tip)·tan(angle/2), geometry; 0 where the tip does not reach."""
        rise = depth - level
        if rise < 0:
            return 0.0
        return self.tip + 2 * rise * math.tan(math.radians(self.angle) / 2)

    def depth_for(self, width: float) -> float:
        """Depth at which the groove is this wide at the surface."""
        return (width - self.tip) / (2 * math.tan(math.radians(self.angle) / 2))

    @check
    def _tip_within_shank(self) -> Iterator[Mistake]:
        if self.tip > self.shank:
            words = f"must be at most the shank of {self.shank:g} mm; got {self.tip:g}"
            yield wrong(("tip",), words)


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class EndMill(Cutter):
    """A cylindrical cutter."""

    kind: Literal["endmill"] = choice(
        "A cylindrical cutter", Literal["endmill"], default="endmill", words=""
    )
    diameter: float = number("Diameter of the cutter", "mm", above=0, most=50)
    step: float = number("Depth of one depth step", "mm", above=0, most=20)
    teeth: int = number("Cutting edges", "", default=2, least=1, most=MOST_TEETH, whole=True)
    feed: float = number("Feed along a path", "mm/min", above=0, most=FASTEST_FEED)

    def width(self, depth: float, level: float = 0.0) -> float:
        """The diameter at every level the tip reaches."""
        return self.diameter if depth >= level else 0.0


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class Drill(Cutter):
    """A twist drill."""

    kind: Literal["drill"] = choice("A twist drill", Literal["drill"], default="drill", words="")
    diameter: float = number("Diameter of the drill", "mm", above=0, most=50)
    point_angle: float = number(
        "Included angle of the point", "degrees", default=118.0, above=0, most=180
    )
    feed: float = number(
        "Feed along a path, which a drill does not use",
        "mm/min",
        otherwise=lambda _, drill: drill.plunge,
        words="plunge",
        above=0,
        most=FASTEST_FEED,
    )

    @property
    def teeth(self) -> int:
        """1: the chips of a drill are counted by the turn."""
        return 1

    @property
    def point(self) -> float:
        """Length of the cone at the tip."""
        return self.diameter / 2 / math.tan(math.radians(self.point_angle) / 2)

    def width(self, depth: float, level: float = 0.0) -> float:
        """The cone's width where only the cone reaches, else the diameter."""
        rise = depth - level
        if rise < 0:
            return 0.0
        return min(self.diameter, 2 * rise * math.tan(math.radians(self.point_angle) / 2))


def slope(cutter: Cutter) -> float:
    """How much farther out each edge of a groove lies for every mm that the tip goes deeper."""
    return math.tan(math.radians(cutter.angle) / 2) if isinstance(cutter, Vee) else 0.0


def wider(cutter: Cutter, flatness: float) -> float:
    """How much farther out than nominal an edge of its groove may lie on each side, mm.

    The surface may lie off by the flatness, the cutter may run out of true, and be worn.
    """
    return flatness * slope(cutter) + (cutter.runout + cutter.wear) / 2


def with_shapes(plan: T) -> T:
    """A job, or a part of it, with the shape alone of every cutter in it: no cut depends on more.

    Feeds decide times; so what is planned with shapes stays the same when a feed changes.
    """
    if isinstance(plan, Cutter):
        return plan.shape
    if isinstance(plan, tuple):
        parts = [with_shapes(part) for part in plan]
        if all(part is old for part, old in zip(parts, plan, strict=True)):
            return plan
        made: Any = type(plan)
        return cast("T", made(*parts) if hasattr(plan, "_fields") else made(parts))
    if not isinstance(plan, JobTable):
        return plan
    own = {f.name: getattr(plan, f.name) for f in fields(plan) if f.init}
    changed = {name: part for name, old in own.items() if (part := with_shapes(old)) is not old}
    return replace(plan, **changed) if changed else plan


KINDS: dict[str, type[Cutter]] = {"vee": Vee, "endmill": EndMill, "drill": Drill}
CUTTERS_ALLOWED = "a list of names defined as [cutters.NAME]"
CUTTER_ALLOWED = "a name defined as [cutters.NAME]"
_CUTTER_NAME = WithJsonSchema({"type": "string", "minLength": 1})


def named_cutter(*kinds: str) -> Callable[[object, ValidationInfo], object]:
    """Read a cutter of one of these kinds, which the job file gives by its name."""
    allowed = tuple(KINDS[kind] for kind in kinds)

    def read(value: object, info: ValidationInfo) -> object:
        cutter = value
        if not isinstance(value, Cutter):
            if not isinstance(value, str) or not isinstance(info.context, JobSource):
                raise PydanticCustomError("cutter_type", "no name")
            # a job without any has no cutters to look among
            cutters = known(info.context.job, "cutters") or ()
            cutter = _defined(value, {c.name: c for c in cutters})
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


Engraver = Annotated[Vee | EndMill, PlainValidator(named_cutter("vee", "endmill")), _CUTTER_NAME]
HoleMaker = Annotated[
    Drill | EndMill, PlainValidator(named_cutter("drill", "endmill")), _CUTTER_NAME
]
NamedDrill = Annotated[Drill, PlainValidator(named_cutter("drill")), _CUTTER_NAME]
NamedEndMill = Annotated[EndMill, PlainValidator(named_cutter("endmill")), _CUTTER_NAME]


def each_once(cutters: Sequence[Cutter]) -> Iterator[Mistake]:
    """A mistake for each cutter of a list that is in it already."""
    for i, cutter in enumerate(cutters):
        if any(cutter is other for other in cutters[:i]):
            words = f"names {plain(cutter.name)} a second time; once is enough"
            yield wrong(("cutters", i), words)
