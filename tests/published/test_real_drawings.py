"""Real drawings by others: each is read as its maker meant, or refused with a code that says why.

The files are not part of this project; MILLPREP_SHARED names the folder that holds `boards/`,
whose README tells where each file comes from. "Verified" there means compared with the
board's own design file.
"""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import ezdxf.filemanagement
import numpy as np
import pytest
import shapely

from millprep.drawing import read
from millprep.drawing.reading import read_board
from millprep.drawing.survey.survey import survey_file
from millprep.model.finding import Refusal
from millprep.model.job.layers import LayerRoles, Unit
from tests.helpers.real_drawings import (
    BADGE,
    BLACK,
    BOARDS,
    OUTCOMES,
    Read,
    Refused,
    attempt,
    copper,
)


@pytest.mark.parametrize(
    ("file", "unit", "roles", "expected"),
    OUTCOMES,
    ids=[f"{n}-{Path(file).stem}" for n, (file, *_) in enumerate(OUTCOMES)],
)
def test_every_drawing_ends_as_expected(
    file: str, unit: Unit | None, roles: LayerRoles, expected: Read | Refused, pad: Path
) -> None:
    # the pad of our own says mm; an outline file without a unit is then read with the job's
    if isinstance(expected, Refused):
        with pytest.raises(Refusal) as caught:
            attempt(file, unit, roles, pad)
        assert {finding.code for finding in caught.value.findings} == expected.codes
        assert caught.value.exit_code == 3
        return
    board = attempt(file, unit, roles, pad)
    found = (len(board.pieces), len(board.holes), len(board.outline.interiors))
    assert found == expected.counts


def test_no_drawing_is_forgotten() -> None:
    present = {str(p.relative_to(BOARDS)) for p in BOARDS.glob("*/*.dxf")}
    assert present == {file for file, *_ in OUTCOMES}


UNOPENED = {"drawing-unreadable", "drawing-empty", "copper-empty"}
"""Refusals of drawings that do not open, or hold nothing but text."""


@pytest.mark.parametrize("file", sorted({file for file, *_ in OUTCOMES}))
def test_a_survey_never_breaks(file: str) -> None:
    if any(isinstance(end, Refused) and end.codes & UNOPENED
           for name, _, _, end in OUTCOMES if name == file):  # fmt: skip
        with pytest.raises(Refusal):
            survey_file(BOARDS / file)
        return
    found = survey_file(BOARDS / file)
    # second opinion: the DXF library's own count
    assert found.entities == len(ezdxf.filemanagement.readfile(BOARDS / file).modelspace())


@pytest.mark.parametrize(
    ("file", "unit", "layer", "size", "gap", "drills"),
    [
        # boards/README.md: 142.24 × 91.44 mm, narrowest gap 0.196 mm; facade 73.66 × 52.07 mm,
        # 0.508 mm. The drills are the circles in the files (the README has the two tables
        # of the boards' own design files the other way round).
        ("lgh-main-B_Cu.dxf", "mm", "BLACK", (142.24, 91.44), 0.196, {0.6: 70, 0.4: 32}),
        ("lgh-facade-B_Cu-inch.dxf", "inch", "BLACK", (73.66, 52.07), 0.508, {0.5: 16, 0.4: 20}),
        # judged by eye: 39.7 × 61.1 mm, 0.208 mm
        ("meow-badge.dxf", None, "", (39.7, 61.1), 0.208, None),
    ],
)
def test_sizes_gaps_and_drills_of_the_known_boards(
    file: str,
    unit: Unit | None,
    layer: str,
    size: tuple[float, float],
    gap: float,
    drills: dict[float, int] | None,
) -> None:
    names = (layer,) if layer else BADGE
    board = read(
        BOARDS / "copper" / file, name="b", shown_as=file, unit=unit,
        layers=copper(*names, holes=names[-1:]),
    )  # fmt: skip
    x0, y0, x1, y1 = board.outline.bounds
    places = 2 if layer else 1
    assert (round(x1 - x0, places), round(y1 - y0, places)) == size
    shapes = np.array([piece.shape for piece in board.pieces], dtype=object)
    a, b = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=2.0)
    assert shapely.distance(shapes[a[a < b]], shapes[b[a < b]]).min() == pytest.approx(
        gap, abs=6e-4
    )
    if drills is not None:
        assert Counter(round(hole.diameter, 3) for hole in board.holes) == drills
        assert all(hole.piece for hole in board.holes)


def scan_line_pieces(file: Path, scale: float, step: float) -> int:
    """Connected copper counted from the bare line segments, without chaining or polygons.

    On every scan line, copper lies between the 1st and 2nd crossing, the 3rd and 4th, …
    (even-odd). Stretches on neighbouring scan lines that overlap belong together.
    """
    doc = ezdxf.filemanagement.readfile(file)
    ends = np.array(
        [
            (*line.dxf.start.xyz[:2], *line.dxf.end.xyz[:2])
            for line in doc.modelspace().query("LINE")
        ]
    )
    ends *= scale
    low, high = np.minimum(ends[:, 1], ends[:, 3]), np.maximum(ends[:, 1], ends[:, 3])
    parent: list[int] = []

    def root(i: int) -> int:
        while parent[i] != i:
            i = parent[i]
        return i

    before: list[tuple[float, float, int]] = []
    for y in np.arange(low.min() + step * 0.317, high.max(), step):
        cut = ends[(low <= y) & (y < high)]
        t = (y - cut[:, 1]) / (cut[:, 3] - cut[:, 1])
        x = np.sort(cut[:, 0] + t * (cut[:, 2] - cut[:, 0])).tolist()
        assert len(x) % 2 == 0
        now: list[tuple[float, float, int]] = []
        for a, b in zip(x[::2], x[1::2], strict=True):
            if b - a < 1e-3:
                continue
            parent.append(len(parent))
            now.append((a, b, len(parent) - 1))
            for c, d, i in before:
                if a < d and c < b:
                    parent[root(i)] = root(len(parent) - 1)
        before = now
    return len({root(i) for i in range(len(parent))})


@pytest.mark.parametrize(
    ("file", "scale", "pieces"),
    [("lgh-main-B_Cu.dxf", 1.0, 46), ("lgh-facade-B_Cu-inch.dxf", 25.4, 11)],
)
def test_scan_lines_count_the_same_pieces(file: str, scale: float, pieces: int) -> None:
    assert scan_line_pieces(BOARDS / "copper" / file, scale, 0.04) == pieces


def test_the_wrong_mode_does_not_pass_for_the_right_one() -> None:
    # nested outlines filled by union give one solid plate: it must not look like 46 pieces
    board = read(
        BOARDS / "copper/lgh-main-B_Cu.dxf", name="b", shown_as="x", unit="mm",
        layers=copper("BLACK", holes=("BLACK",), copper_modes=(("BLACK", "overlapping outlines"),)),
    )  # fmt: skip
    assert len(board.pieces) == 1


@pytest.mark.parametrize(
    ("file", "unit", "roles"),
    [(file, unit, roles) for file, unit, roles, end in OUTCOMES
     if isinstance(end, Read) and roles.copper != ("foil",)],
)  # fmt: skip
def test_the_ledger_of_every_read_drawing_adds_up(
    file: str, unit: Unit | None, roles: LayerRoles
) -> None:
    board, ledger = read_board(BOARDS / file, name="b", shown_as=file, layers=roles, job_unit=unit)
    left = sum(one.count for one in board.left_out if " in block " not in one.kind)
    total = len(ezdxf.filemanagement.readfile(BOARDS / file).modelspace())
    assert left + len(ledger.used) == total
    assert sum(ledger.roles().values()) == len(ledger.used)


def test_no_two_holes_overlap_on_the_known_boards() -> None:
    for file, unit in (("lgh-main-B_Cu.dxf", "mm"), ("lgh-facade-B_Cu-inch.dxf", "inch")):
        board = read(
            BOARDS / "copper" / file, name="b", shown_as=file,
            layers=copper("BLACK", **BLACK), unit=unit,  # type: ignore[arg-type]
        )  # fmt: skip
        discs = np.array([shapely.Point(h.at).buffer(h.diameter / 2) for h in board.holes])
        a, b = shapely.STRtree(discs).query(discs, predicate="intersects")
        assert (a == b).all()


@pytest.mark.parametrize(
    ("file", "unit", "count"),
    [("lgh-main-B_Cu.dxf", "mm", 434), ("lgh-facade-B_Cu-inch.dxf", "inch", 143)],
)
def test_lines_of_no_length_on_known_boards_change_nothing(
    file: str, unit: Unit, count: int
) -> None:
    """Counted apart from this package, by ezdxf: lines whose two ends are the same."""
    path = BOARDS / "copper" / file
    lines = ezdxf.filemanagement.readfile(path).modelspace().query("LINE")
    assert sum(line.dxf.start.isclose(line.dxf.end) for line in lines) == count
    board = read(path, name="b", shown_as=file, layers=copper("BLACK", **BLACK), unit=unit)
    (none,) = [one for one in board.left_out if "no length" in one.reason]
    assert (none.count, none.harmless) == (count, True)
