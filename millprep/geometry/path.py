"""A path: a chain of lines and arcs in the plane.

Each segment is held by its two ends and its bulge, tan(sweep / 4), positive
counter-clockwise and 0 for a line. Ends are stored once, so a path cannot have
gaps. A closed path ends on the point where it starts; a full circle takes two segments.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from millprep.geometry.pose import Pose

FloatArray = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
Point = tuple[float, float]

SAGITTA = 0.002
"""Flattening of curves: the largest distance of a chord from its arc, mm."""
LEAST = 1e-9
"""Shorter than this counts as nothing, mm."""


class Segment(NamedTuple):
    """One line or arc of a path; `centre` is None for a line, `sweep` in radians, + = ccw."""

    start: Point
    end: Point
    centre: Point | None
    sweep: float


@dataclass(frozen=True, eq=False)
class Path:
    """A chain of lines and arcs.

    Attributes:
        xy: (n, 2) vertices in mm, n >= 2; first equals last when the path is closed.
        bulge: (n - 1,) bulge of the segment that leaves each vertex.

    Raises:
        ValueError: for wrong shapes, values that are not finite, or a segment of no length.
    """

    xy: FloatArray
    bulge: FloatArray

    def __post_init__(self) -> None:
        xy = np.array(self.xy, dtype=float)
        bulge = np.array(self.bulge, dtype=float)
        if xy.ndim != 2 or xy.shape[1] != 2 or len(xy) < 2:
            raise ValueError(f"a path needs two or more points, got an array {xy.shape}")
        if bulge.shape != (len(xy) - 1,):
            raise ValueError(f"{len(xy)} points need {len(xy) - 1} bulges, got {bulge.shape}")
        if not (np.isfinite(xy).all() and np.isfinite(bulge).all()):
            raise ValueError("a path holds finite numbers only")
        if (np.abs(np.diff(xy, axis=0)).max(axis=1) == 0).any():
            raise ValueError("a path holds no segment of zero length")
        xy.setflags(write=False)
        bulge.setflags(write=False)
        object.__setattr__(self, "xy", xy)
        object.__setattr__(self, "bulge", bulge)

    @classmethod
    def lines(cls, xy: ArrayLike) -> Path:
        """Straight segments through (n, 2) points; repeated points are dropped."""
        points = np.asarray(xy, dtype=float)
        keep = np.ones(len(points), dtype=bool)
        keep[1:] = np.abs(np.diff(points, axis=0)).max(axis=1) > 0
        points = points[keep]
        return cls(points, np.zeros(max(len(points) - 1, 0)))

    @classmethod
    def circle(cls, centre: Point, radius: float, *, clockwise: bool = False) -> Path:
        """A full circle that starts and ends east of its centre."""
        x, y = centre
        bulge = -1.0 if clockwise else 1.0
        return cls(
            np.array([(x + radius, y), (x - radius, y), (x + radius, y)]),
            np.array([bulge, bulge]),
        )

    def __eq__(self, other: object) -> bool:
        return (
            isinstance(other, Path)
            and np.array_equal(self.xy, other.xy)
            and np.array_equal(self.bulge, other.bulge)
        )

    def __hash__(self) -> int:
        return hash((self.xy.tobytes(), self.bulge.tobytes()))

    def __len__(self) -> int:
        return len(self.bulge)

    @property
    def closed(self) -> bool:
        """Whether the path ends where it starts."""
        return bool((self.xy[0] == self.xy[-1]).all())

    @property
    def start(self) -> Point:
        """First point."""
        return (float(self.xy[0, 0]), float(self.xy[0, 1]))

    @property
    def end(self) -> Point:
        """Last point."""
        return (float(self.xy[-1, 0]), float(self.xy[-1, 1]))

    @property
    def mean_point(self) -> Point:
        """The mean of its points, the same wherever the path lies and wherever it starts."""
        x, y = self.xy[:-1].mean(axis=0) if self.closed else self.xy.mean(axis=0)
        return (float(x), float(y))

    @cached_property
    def lengths(self) -> FloatArray:
        """(n - 1,) length of every segment."""
        chord = np.hypot(*np.diff(self.xy, axis=0).T)
        b = np.abs(self.bulge)
        safe = np.where(b > 0, b, 1.0)
        # arc = radius · angle, radius = chord (1 + b²) / 4b, angle = 4 atan b
        arc: FloatArray = chord * (1 + b * b) / safe * np.arctan(safe)
        return np.where(b > 0, arc, chord).astype(float)

    @property
    def length(self) -> float:
        """Whole length."""
        return float(self.lengths.sum())

    def segments(self) -> Iterator[Segment]:
        """The lines and arcs in order."""
        xy = self.xy.tolist()
        for i, b in enumerate(self.bulge.tolist()):
            (x0, y0), (x1, y1) = xy[i], xy[i + 1]
            if b == 0:
                yield Segment((x0, y0), (x1, y1), None, 0.0)
                continue
            # the centre lies on the chord's bisector, (1 - b²) / 4b chords to its left
            k = (1 - b * b) / (4 * b)
            centre = ((x0 + x1) / 2 - k * (y1 - y0), (y0 + y1) / 2 + k * (x1 - x0))
            yield Segment((x0, y0), (x1, y1), centre, 4 * math.atan(b))

    def reversed(self) -> Path:
        """The same path run the other way."""
        return Path(self.xy[::-1], -self.bulge[::-1])

    def transformed(self, pose: Pose) -> Path:
        """The path in another frame; a mirroring pose turns every arc over."""
        return Path(pose.points(self.xy), -self.bulge if pose.mirrored else self.bulge)

    def started_at(self, vertex: int) -> Path:
        """A closed path that starts at another of its vertices.

        Raises:
            ValueError: when the path is open.
        """
        if not self.closed:
            raise ValueError("only a closed path can start elsewhere")
        if vertex % len(self) == 0:
            return self
        v = vertex % len(self)
        return Path(
            np.vstack((self.xy[v:-1], self.xy[: v + 1])),
            np.concatenate((self.bulge[v:], self.bulge[:v])),
        )

    def point_at(self, distance: float) -> Point:
        """The point this far along, clamped to the path's ends."""
        i, t = self._locate(distance)
        return self._point(i, t)

    def part(self, start: float, end: float) -> Path:
        """The piece between two distances along the path.

        On a closed path `end` may pass the length: the part then runs over the start.

        Raises:
            ValueError: when the part has no length.
        """
        total = self.length
        if self.closed and end > total:
            if start >= total - LEAST:
                return self.part(max(start - total, 0.0), end - total)
            head = self.part(start, total)
            if end <= total + LEAST:
                return head
            return head.joined(self.part(0.0, min(end - total, total)))
        start, end = max(start, 0.0), min(end, total)
        if not end > start:
            raise ValueError(f"a part from {start} to {end} has no length")
        (i, t), (j, u) = self._locate(start), self._locate(end)
        xy = [self._point(i, t), *map(tuple, self.xy[i + 1 : j + 1].tolist()), self._point(j, u)]
        angles = 4 * np.arctan(self.bulge[i : j + 1])
        if i == j:
            angles = angles * (u - t)
        else:
            angles[0] *= 1 - t
            angles[-1] *= u
        points = np.array(xy)
        keep = np.abs(np.diff(points, axis=0)).max(axis=1) > 0
        bulge = np.tan(angles / 4)[keep]
        return Path(np.vstack((points[:1], points[1:][keep])), bulge)

    def joined(self, after: Path) -> Path:
        """The path and another that starts where it ends.

        Raises:
            ValueError: when the two do not meet.
        """
        if not np.allclose(self.xy[-1], after.xy[0], rtol=0, atol=1e-9):
            raise ValueError(f"paths do not meet: {self.end} and {after.start}")
        return Path(np.vstack((self.xy, after.xy[1:])), np.concatenate((self.bulge, after.bulge)))

    def flattened(self, sagitta: float = SAGITTA) -> FloatArray:
        """(m, 2) points on the path whose chords stay within `sagitta` of it."""
        if not self.bulge.any():
            return self.xy
        z = in_plane(self.xy)
        chord, sweep = np.diff(z), 4 * np.arctan(self.bulge)
        # over the radius, which is chord / (2·sin(sweep / 2))
        flat = 2 * sagitta * np.abs(np.sin(sweep / 2) / chord)
        step = np.maximum(2 * np.arccos(np.maximum(1 - flat, -1.0)), 1e-6)
        count = np.maximum(np.ceil(np.abs(sweep) / step), 1).astype(int)
        which = np.repeat(np.arange(len(count)), count)
        t = (np.arange(len(which)) + (count - np.cumsum(count))[which]) / count[which]
        # the chord of a part of an arc is that of the arc, turned and scaled
        share, whole = t + 0j, np.expm1(1j * sweep)[which]
        np.divide(np.expm1(1j * sweep[which] * t), whole, out=share, where=whole != 0)
        out = z[which] + chord[which] * share
        return np.vstack((out.view(float).reshape(-1, 2), self.xy[-1:]))

    def line(self, sagitta: float = SAGITTA) -> shapely.LineString:
        """The flattened path as a shapely line."""
        return shapely.LineString(self.flattened(sagitta))

    def _locate(self, distance: float) -> tuple[int, float]:
        """Segment index and fraction of the point this far along."""
        ends = np.cumsum(self.lengths)
        i = min(int(np.searchsorted(ends, distance, side="right")), len(self) - 1)
        before = float(ends[i - 1]) if i else 0.0
        return i, min(max((distance - before) / float(self.lengths[i]), 0.0), 1.0)

    def _point(self, i: int, t: float) -> Point:
        if t <= 0.0 or t >= 1.0:
            x, y = self.xy[i if t <= 0.0 else i + 1].tolist()
            return (x, y)
        (x0, y0), (x1, y1) = self.xy[i].tolist(), self.xy[i + 1].tolist()
        b = float(self.bulge[i])
        if b == 0:
            return (x0 + (x1 - x0) * t, y0 + (y1 - y0) * t)
        k = (1 - b * b) / (4 * b)
        cx, cy = (x0 + x1) / 2 - k * (y1 - y0), (y0 + y1) / 2 + k * (x1 - x0)
        angle = 4 * math.atan(b) * t
        cos, sin = math.cos(angle), math.sin(angle)
        return (cx + (x0 - cx) * cos - (y0 - cy) * sin, cy + (x0 - cx) * sin + (y0 - cy) * cos)


def spine(at: Point, end: Point | None) -> shapely.Point | shapely.LineString:
    """The centre of a round hole, or the centre line of a slot."""
    return shapely.Point(at) if end is None else shapely.LineString((at, end))


def in_plane(xy: FloatArray) -> ComplexArray:
    """(n,) places x + iy of (n, 2) coordinates; a product with (1, i) would start threads."""
    return np.ascontiguousarray(xy, dtype=float).view(complex).ravel()
