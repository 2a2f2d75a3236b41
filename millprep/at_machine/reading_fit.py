"""What readings say of a blank: its place from registration holes, a correction from verniers.

The rigid motion that brings the holes, as they were drilled, nearest to the readings is
θ = atan2(Σ p × q, Σ p · q), t = m̄ - R·h̄ with p, q counted from their means: Arun, Huang and
Blostein, IEEE PAMI 9(5), 1987, in the plane; it can turn but never mirror. Of a slot only the
distance across its centre line counts, so a fit with slots takes Gauss-Newton steps from there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from millprep.geometry.path import FloatArray, Point
from millprep.geometry.pose import Pose
from millprep.model.milling_pass import Vernier


@dataclass(frozen=True, slots=True)
class Fit:
    """A rigid fit of readings.

    Attributes:
        pose: hole frame to reading frame.
        residuals: (n, 2) reading less fitted place of every hole, mm; of a slot across it.
        scale: of the readings' size to the holes', a diagnostic: the same machine drilled the
            holes, so it cannot see its own scale error. None with fewer than two round holes.
        spare: coordinates read beyond the three that place and turn need.
    """

    pose: Pose
    residuals: FloatArray
    scale: float | None
    spare: int

    @property
    def turn(self) -> float:
        """Degrees by which the blank is turned, counter-clockwise."""
        return math.degrees(math.atan2(self.pose.d, self.pose.a))


def fit(
    holes: Sequence[Point],
    readings: Sequence[Point],
    free: Sequence[Point | None] | None = None,
) -> Fit:
    """The rigid motion that brings two or more holes nearest to their readings.

    Args:
        holes: their places.
        readings: where they were read.
        free: for a slot the unit vector along it, in the frame of `holes`; None for round holes.

    Raises:
        ValueError: for fewer than two holes, unequal counts, or holes all in one place.
    """
    p, q = np.asarray(holes, dtype=float), np.asarray(readings, dtype=float)
    if p.shape != q.shape or p.ndim != 2 or len(p) < 2:
        raise ValueError(f"a fit needs two or more pairs, got {p.shape} and {q.shape}")
    p_mean, q_mean = p.mean(axis=0), q.mean(axis=0)
    a, b = p - p_mean, q - q_mean
    size = float((a**2).sum())
    if size == 0:
        raise ValueError("all holes are in one place")
    cross = float((a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]).sum())
    dot = float((a * b).sum())
    angle = math.atan2(cross, dot)
    cos, sin = math.cos(angle), math.sin(angle)
    tx = float(q_mean[0] - cos * p_mean[0] + sin * p_mean[1])
    ty = float(q_mean[1] - sin * p_mean[0] - cos * p_mean[1])
    pose = Pose(cos, -sin, tx, sin, cos, ty)
    if free is None or all(along is None for along in free):
        scale = math.sqrt(float((b**2).sum()) / size)
        return Fit(pose, q - pose.points(p), scale, 2 * len(p) - 3)
    return _fit_with_slots(p, q, pose, free)


STEPS = 20
"""Steps of a fit with slots; two or three are enough for readings that fit at all."""


def _fit_with_slots(p: FloatArray, q: FloatArray, pose: Pose, free: Sequence[Point | None]) -> Fit:
    """The fit from a near one: every step solves for the small motion that is left."""
    along = np.array([(0.0, 0.0) if slot is None else slot for slot in free])
    for _ in range(STEPS):
        turned = along @ np.array([[pose.a, pose.d], [pose.b, pose.e]])
        # what each hole shows: all of its place, or what lies across the slot
        shows = np.eye(2) - turned[:, :, None] * turned[:, None]
        there = pose.points(p)
        x, y = there.mean(axis=0).tolist()
        moves = np.zeros((len(p), 2, 3))
        moves[:, 0, 0] = moves[:, 1, 1] = 1.0
        moves[:, 0, 2], moves[:, 1, 2] = y - there[:, 1], there[:, 0] - x
        # a turn takes the slot's direction with it, which a reading far along the slot feels
        far = np.einsum("ni,ni->n", turned, q - there)
        moves[:, :, 2] += far[:, None] * turned[:, ::-1] * (-1.0, 1.0)
        residuals = np.einsum("nij,nj->ni", shows, q - there)
        step = np.linalg.lstsq((shows @ moves).reshape(-1, 3), residuals.reshape(-1), rcond=None)
        tx, ty, turn = step[0].tolist()
        cos, sin = math.cos(turn), math.sin(turn)
        small = Pose(cos, -sin, x + tx - cos * x + sin * y, sin, cos, y + ty - sin * x - cos * y)
        pose = pose.then(small)
        if max(abs(tx), abs(ty), abs(turn)) < 1e-12:
            break
    whole = [n for n, slot in enumerate(free) if slot is None]
    scale = None
    if len(whole) > 1:
        a, b = (some[whole] - some[whole].mean(axis=0) for some in (p, q))
        scale = math.sqrt(float((b**2).sum() / (a**2).sum()))
    return Fit(pose, residuals, scale, len(p) + len(whole) - 3)


def suspicious(fit_: Fit, sigma: float) -> bool:
    """Whether the residuals are larger than those of 99 % of careful readings.

    Σ|residual|² / σ² is χ² distributed with as many degrees of freedom as coordinates to spare: of
    N round holes 2N - 3. A hole and a slot alone have none, and show no mistake.
    """
    if fit_.spare < 1:
        return False
    limit = quantile_99(fit_.spare)
    return float((fit_.residuals**2).sum()) / sigma**2 > limit


def bad_hole(
    holes: Sequence[Point],
    readings: Sequence[Point],
    sigma: float,
    free: Sequence[Point | None] | None = None,
) -> int | None:
    """The hole without which the others agree; needs four or more holes."""
    if len(holes) < 4:
        return None
    slots = [None] * len(holes) if free is None else free
    good = []
    for n in range(len(holes)):
        rest = fit(
            [*holes[:n], *holes[n + 1 :]],
            [*readings[:n], *readings[n + 1 :]],
            [*slots[:n], *slots[n + 1 :]],
        )
        if not suspicious(rest, sigma):
            good.append((float((rest.residuals**2).sum()), n))
    return min(good)[1] if good else None


def quantile_99(freedom: int) -> float:
    """99 % quantile of χ²."""
    from scipy.special import chdtri

    return float(chdtri(freedom, 0.01))


READING_ERROR = 0.01
"""Standard deviation of a reading, half a step, mm: assumed, nobody measured it."""
BASE = 25.0
"""Two verniers of a kind show a turn when they are this far from each other across what they
measure, mm: common practice, no source."""


@dataclass(frozen=True, slots=True)
class Correction:
    """The correction of the later pass.

    Attributes:
        shift: how far it cuts too far, blank frame, at `about`.
        turn: by which what it cuts is turned, radians counter-clockwise.
        about: centre of the verniers that were read.
        residuals: reading less fit of every vernier, mm.
        turn_known: whether the readings show a turn; without, it is 0.
    """

    shift: Point
    turn: float
    about: Point
    residuals: tuple[float, ...]
    turn_known: bool = True

    @property
    def spare(self) -> int:
        """Readings beyond those that shift and turn need."""
        return len(self.residuals) - (3 if self.turn_known else 2)

    @property
    def doubtful(self) -> bool:
        """Whether the residuals are larger than those of 99 % of careful readings: a χ² test."""
        if self.spare < 1:
            return False
        size = sum(left**2 for left in self.residuals) / READING_ERROR**2
        return size > quantile_99(self.spare)

    @property
    def error(self) -> Pose:
        """The motion of what the pass cuts, blank frame."""
        cos, sin = math.cos(self.turn), math.sin(self.turn)
        (x, y), (dx, dy) = self.about, self.shift
        return Pose(cos, -sin, x + dx - cos * x + sin * y, sin, cos, y + dy - sin * x - cos * y)


def correction(read: Sequence[tuple[Vernier, float]]) -> Correction:
    """The correction, by least squares; a turn only where two verniers of a kind show it.

    Without such a pair shift and turn cannot be separated: a shift would be taken for a turn.

    Args:
        read: verniers with the number of the line that runs through, between lines in part.

    Raises:
        ValueError: when no vernier of one of the kinds was read, or a reading is out of reach.
    """
    for vernier, line in read:
        if not abs(line) <= vernier.reach:
            raise ValueError(
                f"{vernier.id} has lines from -{vernier.reach} to {vernier.reach}, got {line:g}"
            )
    kinds = [vernier.measures for vernier, _ in read]
    if not {"x", "y"} <= set(kinds):
        raise ValueError("one vernier along x and one along y at least must be read")
    places = np.array([vernier.at for vernier, _ in read])
    values = np.array([line * vernier.step for vernier, line in read])
    x, y = places.mean(axis=0).tolist()
    rows = []
    for vernier, (px, py) in zip((v for v, _ in read), places.tolist(), strict=True):
        along_x = vernier.measures == "x"
        # a small turn t moves (px, py) by t · (-(py - y), px - x)
        rows.append([float(along_x), float(not along_x), -(py - y) if along_x else px - x])
    matrix = np.array(rows)
    turn_known = any(
        np.ptp([vernier.at[across] for vernier, _ in read if vernier.measures == kind]) >= BASE
        for kind, across in (("x", 1), ("y", 0))
    )
    if not turn_known:
        matrix[:, 2] = 0.0
    solution = np.linalg.lstsq(matrix, values, rcond=None)[0]
    left = values - matrix @ solution
    return Correction(
        (float(solution[0]), float(solution[1])),
        float(solution[2]),
        (x, y),
        tuple(left.tolist()),
        turn_known,
    )
