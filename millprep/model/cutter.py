"""Cutters: vee, end mill and drill."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

Kind = Literal["vee", "endmill", "drill"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cutter:
    """What every cutter has.

    Attributes:
        name: the job's name; becomes part of file names.
        shank: shank diameter.
        flute: length that cuts, from the tip.
        stickout: from the tip to the collet nut.
        runout: total indicator reading; the groove may be wider by as much.
        wear: by so much the groove may have become narrower, or wider, since the cutter was
            measured: flutes wear off, tips grow blunt.
        spindle: revolutions per minute.
        feed: along the path, mm/min.
        plunge: straight down, mm/min.
        teeth: edges that cut; 1 for a drill, whose chips are counted by the turn.
        chip_load: least and most that a tooth may take, mm; None for common practice.
    """

    name: str
    shank: float
    flute: float
    stickout: float
    spindle: float
    feed: float
    plunge: float
    runout: float = 0.0
    wear: float = 0.0
    teeth: int = 1
    chip_load: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        for noun in ("shank", "flute", "stickout", "spindle", "feed", "plunge"):
            if not getattr(self, noun) > 0:
                raise ValueError(f"cutter {self.name}: {noun} must be above 0")
        for noun in ("runout", "wear"):
            if not getattr(self, noun) >= 0:
                raise ValueError(f"cutter {self.name}: {noun} must be 0 or more")
        if self.teeth < 1:
            raise ValueError(f"cutter {self.name}: a cutter has a tooth or more")
        if self.chip_load is not None and not 0 < self.chip_load[0] < self.chip_load[1]:
            raise ValueError(f"cutter {self.name}: chip loads must be above 0 and in order")

    @property
    def kind(self) -> Kind:
        """vee, endmill or drill."""
        raise NotImplementedError

    def width(self, depth: float, level: float = 0.0) -> float:
        """Width of the groove, `level` below the surface, when the tip is `depth` below it."""
        raise NotImplementedError


@dataclass(frozen=True, slots=True, kw_only=True)
class Vee(Cutter):
    """An engraving cutter with a flat tip and an included angle in degrees."""

    tip: float
    angle: float

    def __post_init__(self) -> None:
        Cutter.__post_init__(self)
        if not self.tip >= 0 or not 0 < self.angle < 180:
            raise ValueError(f"cutter {self.name}: tip must be 0 or more, angle within 0 to 180")

    @property
    def kind(self) -> Kind:
        """The kind of cutter."""
        return "vee"

    def width(self, depth: float, level: float = 0.0) -> float:
        """w(z) = tip + 2·(z − z_tip)·tan(angle/2), geometry; 0 where the tip does not reach."""
        rise = depth - level
        if rise < 0:
            return 0.0
        return self.tip + 2 * rise * math.tan(math.radians(self.angle) / 2)

    def depth_for(self, width: float) -> float:
        """Depth at which the groove is this wide at the surface."""
        return (width - self.tip) / (2 * math.tan(math.radians(self.angle) / 2))


@dataclass(frozen=True, slots=True, kw_only=True)
class EndMill(Cutter):
    """A cylindrical cutter; `step` is the depth it takes in one lap."""

    diameter: float
    step: float
    teeth: int = 2

    def __post_init__(self) -> None:
        Cutter.__post_init__(self)
        if not self.diameter > 0 or not self.step > 0:
            raise ValueError(f"cutter {self.name}: diameter and step must be above 0")

    @property
    def kind(self) -> Kind:
        """The kind of cutter."""
        return "endmill"

    def width(self, depth: float, level: float = 0.0) -> float:
        """The diameter at every level the tip reaches."""
        return self.diameter if depth >= level else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Drill(Cutter):
    """A twist drill; the point angle is the included one, in degrees."""

    diameter: float
    point_angle: float = 118.0

    def __post_init__(self) -> None:
        Cutter.__post_init__(self)
        if not self.diameter > 0 or not 0 < self.point_angle <= 180:
            raise ValueError(f"cutter {self.name}: diameter above 0, point angle within 0 to 180")

    @property
    def kind(self) -> Kind:
        """The kind of cutter."""
        return "drill"

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
    """How much farther out than asked an edge of its groove may lie on each side, mm.

    The surface may lie off by the flatness, the cutter may run out of true, and be worn.
    """
    return flatness * slope(cutter) + (cutter.runout + cutter.wear) / 2
