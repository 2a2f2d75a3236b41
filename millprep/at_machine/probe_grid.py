"""Where the copper is probed: a grid around all cuts of a pass whose every node can be touched.

Rows and columns are evenly spaced at first. If a node cannot be touched, its row or column is
shifted, the outer ones only outward, so that the grid still encloses the cuts and a bilinear
surface is defined on it. If that does not help, there are more of them.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry.base import BaseGeometry

from millprep.geometry.path import FloatArray, Point
from millprep.model.cutter import Cutter
from millprep.model.finding import Finding, Refusal
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass
from millprep.model.surface_map import LEAST_NODES

PLAY = 0.45
"""A row or column is shifted by no more than this part of the spacing."""
FINE = 0.5
"""Shifts are tried in steps of this, mm."""
ROUNDS = 6
MOST_MORE = 3
"""So many additional rows or columns are tried before the grid is refused."""
MOST_NODES = 2500
FAR = 500.0
"""The plane is denied this far beyond everything, mm."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Denied:
    """A reason why places cannot be touched: the area, machine frame, and what to do."""

    area: BaseGeometry
    words: str


def grid(
    hull: BaseGeometry, spacing: float, denied: Sequence[Denied], at: tuple[int, int]
) -> tuple[FloatArray, FloatArray]:
    """Columns and rows whose nodes enclose the hull, machine frame.

    Args:
        hull: of all cuts of the pass.
        spacing: of rows and columns before any is shifted, at most, mm.
        denied: where no node may be.
        at: blank and pass, for findings.

    Raises:
        Refusal: for more nodes than `MOST_NODES`, or with those that cannot be touched.
    """
    x0, y0, x1, y1 = hull.bounds
    columns, rows = _lines(x0, x1, spacing), _lines(y0, y1, spacing)
    if len(columns) * len(rows) > MOST_NODES:
        message = (
            f"A spacing of {spacing:g} mm needs {len(columns) * len(rows)} points; at most "
            f"{MOST_NODES} can be probed. Give a wider --spacing."
        )
        raise Refusal([_finding("probe-too-fine", message, at, None)], exit_code=2)
    area = shapely.union_all([reason.area for reason in denied])
    shapely.prepare(area)
    blocked: list[Finding] = []
    for more in sorted(itertools.product(range(MOST_MORE + 1), repeat=2), key=sum):
        columns, rows = _lines(x0, x1, spacing, more[0]), _lines(y0, y1, spacing, more[1])
        free = _free(columns, rows, area)
        for start in range(ROUNDS):
            i, j, bad = _settled(free, start)
            x = np.array([c[k] for c, k in zip(columns, i, strict=True)])
            y = np.array([r[k] for r, k in zip(rows, j, strict=True)])
            if not bad:
                return x, y
            if not blocked or len(bad) < len(blocked):
                blocked = [_blocked((x[n], y[m]), denied, at) for n, m in bad]
    raise Refusal(blocked)


def _lines(low: float, high: float, spacing: float, more: int = 0) -> list[FloatArray]:
    """Where each row or column may be, its own place first; `more` of them than are needed."""
    count = max(math.ceil((high - low) / spacing - 1e-9) + 1, LEAST_NODES) + more
    step = (high - low) / (count - 1)
    reach = np.arange(1, math.floor(PLAY * min(step, spacing) / FINE) + 1) * FINE
    low, high = math.floor(low * 1000) / 1000, math.ceil(high * 1000) / 1000
    out = np.concatenate(([0.0], np.arange(1, math.ceil(spacing / FINE)) * FINE))
    both = np.concatenate(([0.0], np.column_stack((reach, -reach)).ravel()))
    inner = [np.round(low + step * n + both, 3) for n in range(1, count - 1)]
    return [np.round(low - out, 3), *inner, np.round(high + out, 3)]


def _free(
    columns: Sequence[FloatArray], rows: Sequence[FloatArray], area: BaseGeometry
) -> list[list[Mask]]:
    """For every column and row, which of their candidates cross where nothing is denied."""
    x, y = np.concatenate(columns), np.concatenate(rows)
    gx, gy = np.meshgrid(x, y, indexing="ij")
    open_ = ~shapely.intersects_xy(area, gx.ravel(), gy.ravel()).reshape(gx.shape)
    across = np.split(open_, np.cumsum([len(c) for c in columns])[:-1], axis=0)
    ends = np.cumsum([len(r) for r in rows])[:-1]
    return [np.split(part, ends, axis=1) for part in across]


def _settled(
    free: list[list[Mask]], start: int
) -> tuple[list[int], list[int], list[tuple[int, int]]]:
    """Candidates of columns and rows that leave few nodes denied, and the nodes that are.

    Columns and rows are chosen in turn, each for the others as they are; `start` is the
    candidate of the inner rows to begin with.
    """
    i = [0] * len(free)
    last = len(free[0]) - 1
    j = [min(start * (0 < m < last), free[0][m].shape[1] - 1) for m in range(last + 1)]
    for _ in range(ROUNDS):
        for n, row in enumerate(free):
            i[n] = int(np.argmin(sum((~f[:, k]).astype(int) for f, k in zip(row, j, strict=True))))
        for m in range(len(j)):
            missed = sum((~free[n][m][k, :]).astype(int) for n, k in enumerate(i))
            j[m] = int(np.argmin(missed))
        bad = [(n, m) for n in range(len(i)) for m in range(len(j)) if not free[n][m][i[n], j[m]]]
        if not bad:
            break
    return i, j, bad


def _blocked(node: Point, denied: Sequence[Denied], at: tuple[int, int]) -> Finding:
    """Why a node cannot be touched."""
    spot = shapely.Point(node)
    why = next(reason.words for reason in denied if reason.area.intersects(spot))
    message = f"The copper cannot be probed at X{node[0]:.3f} Y{node[1]:.3f}: {why}"
    return _finding("probe-unreachable", message, at, node)


def _finding(code: str, message: str, at: tuple[int, int], place: Point | None) -> Finding:
    return Finding(
        code=code,
        severity="stop",
        message=message,
        frame=None if place is None else "machine",
        at=None if place is None else (float(place[0]), float(place[1])),
        blank=at[0],
        mill_pass=at[1],
    )


def denied(
    free: BaseGeometry, mill_pass: MillingPass, plan: JobPlan, tip: Cutter, uneven: float
) -> list[Denied]:
    """Where no node may be, and why, machine frame: outside the travel, at clamps, off copper.

    Args:
        free: copper that may be touched, machine frame.
        mill_pass: the pass that is probed.
        plan: its machine and clamps.
        tip: what touches.
        uneven: how far the copper may lie above or below zero, mm.
    """
    t = plan.machine.reachable
    reach = t.shape
    x0, y0, x1, y1 = (mill_pass.pose.shape(mill_pass.window) | reach | free).bounds
    all_ = shapely.box(x0 - FAR, y0 - FAR, x1 + FAR, y1 + FAR)
    reasons = [
        Denied(
            shapely.difference(all_, reach),
            f"it lies outside of {plan.machine.reachable_words}, X{t.x0:g} to {t.x1:g}, Y{t.y0:g} "
            f"to {t.y1:g}, and the copper must be known on all sides of the cuts. Move the blank "
            "so that the cuts lie farther inside.",
        )
    ]
    for clamp in plan.setup.clamps:
        if clamp.on_in(mill_pass.number):
            # the tip may be `uneven` below zero when the nut passes the clamp's top
            off = plan.machine.clamp_clearance
            rise = clamp.height + off + uneven
            b = clamp.box.grown(tip.radius_up(rise, plan.machine.collet) + off)
            part = "collet" if rise > tip.stickout else "shank"
            reasons.append(
                Denied(
                    b.shape,
                    f"the {part} would come nearer than {off:g} mm to the clamp at "
                    f"X{clamp.box.x0:g} to {clamp.box.x1:g}, Y{clamp.box.y0:g} to "
                    f"{clamp.box.y1:g}. Move the clamp, or give another "
                    "--spacing.",
                )
            )
    words = (
        "there is no copper connected with the touch point: it was cut in an earlier pass, or the "
        "blank ends. Give another --spacing, or probe with a switch "
        '([machine] surface_probe = "switch").'
    )
    if plan.machine.surface_probe == "switch":
        words = "the copper is cut there, or the blank ends. Give another --spacing."
    reasons.append(Denied(shapely.difference(all_, free), words))
    return reasons
