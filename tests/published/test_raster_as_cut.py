"""A second simulation, by pixels, of whole boards: distance to the nearest point of any path.

It shares nothing with the proof: motions come from toolpaths.csv, the cutter's width at the foot
of the copper is worked out here, labels come from a general image library (scikit-image), the
nearest points and the distances between pieces from scipy.
"""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree
from skimage.measure import label

PIXEL = 0.025
SAMPLE = 0.012
"""From one point of a path to the next, mm: of a groove 0.1 mm wide the rim is off by 0.4 µm."""
AROUND = 0.5
"""What is looked at beyond the board's pieces, mm."""

Floats = NDArray[np.float64]


def affine(row: list[float], points: Floats) -> Floats:
    a, b, c, d, e, f = row
    return np.asarray(points @ np.array([[a, d], [b, e]]) + np.array([c, f]))


def inverse(row: list[float]) -> list[float]:
    a, b, c, d, e, f = row
    det = a * e - b * d
    return [e / det, -b / det, (b * f - c * e) / det, -d / det, a / det, (c * d - a * f) / det]


def foot_width(cutter: dict[str, Any], z: float, copper: float) -> float:
    """Width at the foot of the copper of a cutter whose tip is at z; 0 when it ends above."""
    deep = -z - copper
    if deep <= 0:
        return 0.0
    if cutter["kind"] == "vee":
        wide: float = cutter["tip"] + 2 * deep * math.tan(math.radians(cutter["angle"] / 2))
        return wide
    if cutter["point_angle"] < 180:
        cone = 2 * deep * math.tan(math.radians(cutter["point_angle"] / 2))
        return min(float(cutter["diameter"]), cone)
    return float(cutter["diameter"])


def steps(row: dict[str, str], at: Floats) -> Floats:
    """Points of one motion, (n, 3), its end included."""
    end = np.array([float(row[k]) for k in ("x", "y", "z")])
    if row["motion"] not in ("arc_cw", "arc_ccw"):
        n = max(1, math.ceil(float(np.hypot(*(end - at)[:2])) / SAMPLE))
        share = np.arange(1, n + 1)[:, None] / n
        return np.asarray(at + (end - at) * share)
    centre = at[:2] + np.array([float(row["i"]), float(row["j"])])
    a, b = at[:2] - centre, end[:2] - centre
    turn = math.atan2(a[0] * b[1] - a[1] * b[0], float(a @ b))
    way = 1 if row["motion"] == "arc_ccw" else -1
    turn = way * (turn * way % (2 * math.pi) or 2 * math.pi)
    n = max(1, math.ceil(abs(turn) * float(np.hypot(*a)) / SAMPLE))
    share = np.arange(1, n + 1) / n
    cos, sin = np.cos(turn * share), np.sin(turn * share)
    xy = centre + np.stack((a[0] * cos - a[1] * sin, a[0] * sin + a[1] * cos), axis=1)
    return np.column_stack((xy, at[2] + (end[2] - at[2]) * share))


def swept(folder: Path, blank: int, report: dict[str, Any]) -> dict[float, Floats]:
    """Points of all paths on a blank, blank frame, by the radius cut there at the foot."""
    copper = next(b["copper"] for b in report["blanks"] if b["number"] == blank)
    poses = {p["number"]: inverse(p["blank_to_machine"])
             for p in report["passes"] if p["blank"] == blank}  # fmt: skip
    names = {
        (p["number"], q["file"].rsplit("/", 1)[-1]): q["cutter"]
        for p in report["passes"]
        if p["blank"] == blank
        for q in p["programs"]
    }
    found: dict[float, list[Floats]] = {}
    program, at = "", np.zeros(3)
    with (folder / "toolpaths.csv").open() as stream:
        for row in csv.DictReader(stream):
            if int(row["blank"]) != blank or int(row["pass"]) not in poses:
                continue
            here = np.array([float(row[k]) for k in ("x", "y", "z")])
            if row["program"] != program:
                program, at = row["program"], here
                continue
            points = steps(row, at)
            at = here
            cutter = report["cutters"][names[int(row["pass"]), program]]
            radii = np.array([foot_width(cutter, z, copper) / 2 for z in points[:, 2].tolist()])
            places = affine(poses[int(row["pass"])], points[:, :2])
            for radius in np.unique(radii[radii > 0]).tolist():
                found.setdefault(round(radius, 6), []).append(places[radii == radius])
    return {radius: np.vstack(places) for radius, places in found.items()}


@pytest.fixture(scope="module")
def paths(indicators: Path) -> tuple[dict[str, Any], dict[float, Floats]]:
    report = json.loads((indicators / "report.json").read_text("utf-8"))
    return report, swept(indicators, 1, report)


def picture(board: dict[str, Any], cuts: dict[float, Floats]) -> tuple[NDArray[Any], Floats]:
    """Labels of uncut pixels around a board's pieces, and the low corner of the picture."""
    places = np.array([piece["at"] for piece in board["pieces"]])
    corners = affine(board["drawing_to_blank"], np.array(board["outline"]))
    low, high = corners.min(axis=0) - AROUND, corners.max(axis=0) + AROUND
    assert len(places)
    x, y = np.arange(low[0], high[0], PIXEL), np.arange(low[1], high[1], PIXEL)
    pixels = np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)
    cut = np.zeros(len(pixels), dtype=bool)
    for radius, points in cuts.items():
        near = ((points > low - radius) & (points < high + radius)).all(axis=1)
        if near.any():
            left = np.flatnonzero(~cut)
            away, _ = cKDTree(points[near]).query(pixels[left], distance_upper_bound=radius)
            cut[left[np.isfinite(away)]] = True
    counted: Any = label
    return np.asarray(counted(~cut.reshape(len(y), len(x)), connectivity=1)), low


def label_of(labels: NDArray[Any], low: Floats, at: Floats) -> int:
    """The label at a place, or nearest to it should a hole be there."""
    column, row = np.round((at - low) / PIXEL).astype(int).tolist()
    reach = round(1.5 / PIXEL)
    r0, c0 = max(row - reach, 0), max(column - reach, 0)
    window = labels[r0 : row + reach, c0 : column + reach]
    rows, columns = np.nonzero(window)
    n = int(np.argmin(np.hypot(rows + r0 - row, columns + c0 - column)))
    return int(window[rows[n], columns[n]])


def simulated(board: dict[str, Any], cuts: dict[float, Floats]) -> tuple[int, float]:
    """How many pieces stand apart, and the narrowest gap between two of them, mm."""
    labels, low = picture(board, cuts)
    places = affine(board["drawing_to_blank"], np.array([p["at"] for p in board["pieces"]]))
    mine = [label_of(labels, low, at) for at in places]
    gap = math.inf
    pieces = np.where(np.isin(labels, mine), labels, 0)
    for one in sorted(set(mine))[:-1]:
        others = pieces > one
        away = ndimage.distance_transform_edt(pieces != one) * PIXEL
        gap = min(gap, float(away[others].min()))
    return len(set(mine)), gap


@pytest.mark.parametrize("n", [0, 12])
def test_pieces_and_narrowest_gap_agree(
    paths: tuple[dict[str, Any], dict[float, Floats]], n: int
) -> None:
    report, cuts = paths
    board = [b for b in report["boards"] if b["blank"] == 1][n]
    pieces, gap = simulated(board, cuts)
    assert pieces == board["proof"]["pieces"] == len(board["pieces"])
    # a gap runs from the middle of one pixel to the middle of another: about a pixel longer
    assert gap - PIXEL == pytest.approx(board["proof"]["narrowest_gap"], abs=PIXEL)


def test_a_groove_that_is_missing_is_seen(
    paths: tuple[dict[str, Any], dict[float, Floats]],
) -> None:
    report, cuts = paths
    board = next(b for b in report["boards"] if b["blank"] == 1)
    vee = min(cuts)
    piece = affine(board["drawing_to_blank"], np.array([board["pieces"][0]["at"]]))[0]
    kept = cuts[vee][np.hypot(*(cuts[vee] - piece).T) > 6.0]
    pieces, _ = simulated(board, {**cuts, vee: kept})
    assert pieces < len(board["pieces"])
