"""Two sets compared; what is skipped changes no cut of the others, to the digit."""

from __future__ import annotations

import csv
import json
import math
import re
import shutil
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest
from ezdxf.layouts.layout import Modelspace

from millprep.geometry.path import Point
from millprep.verify.trace import Kind, Place, TraceMove
from millprep.workflow.compare import compare
from millprep.workflow.set_cuts import _joined, _runs
from tests.helpers import small_job
from tests.helpers.small_job import changed, put, run

THREE = changed(
    "drawn_from",
    "count = 3\nturns = [0, 90]\ndrawn_from",
    changed("60.0, 50.0", "140.0, 50.0").replace('"copper"\n', '"components"\n'),
)


def prepared(folder: Path, name: str, *words: str, text: str = THREE) -> Path:
    job_file = put(folder, text)
    result = run("prepare", job_file, "--out", folder / name, "--effort", "low", *words)
    assert result.exit_code == 0, result.output
    return folder / name


@pytest.fixture(scope="module")
def three(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return prepared(tmp_path_factory.mktemp("three"), "set")


def cuts(folder: Path) -> Counter[tuple[str, ...]]:
    """Cutting moves as they are written: cutter, motion, start, end, centre, feed."""
    found: Counter[tuple[str, ...]] = Counter()
    last = ("", "", "")
    with (folder / "toolpaths.csv").open(encoding="ascii", newline="") as file:
        for row in csv.DictReader(file):
            at = (row["x"], row["y"], row["z"])
            if row["motion"] != "rapid":
                name = row["program"].split("-", 1)[1]
                found[name, row["motion"], *last, *at, row["i"], row["j"], row["feed"]] += 1
            last = at
    return found


def test_a_set_is_like_itself(three: Path) -> None:
    found = compare(three, three)
    assert [(one.board, one.copy, one.same) for one in found] == [
        ("lamp", copy, True) for copy in (1, 2, 3)
    ]


def test_what_is_skipped_changes_no_cut_of_the_others(three: Path, tmp_path: Path) -> None:
    less = prepared(tmp_path, "less", "--skip", "lamp:2")
    all_, rest = cuts(three), cuts(less)
    assert not rest - all_
    assert 0.6 < rest.total() / all_.total() < 0.72
    got = {(one.copy, one.only_in, one.same) for one in compare(three, less)}
    assert got == {(1, None, True), (2, 1, False), (3, None, True)}
    report = json.loads((less / "report.json").read_text("utf-8"))
    assert [(one["copy"], one["proof"]["shorts"]) for one in report["boards"]] == [(1, 0), (3, 0)]
    assert report["chosen"] == ["effort low", "skip lamp:2"]
    # and so its id is known to be this version's
    verified = run("verify", less, "--job", tmp_path / "job.toml")
    assert verified.exit_code == 0
    assert "made-by-another-version" not in verified.output


def test_where_a_layout_is_kept_all_cuts_of_one_are_those_of_the_whole_set(
    three: Path, tmp_path: Path
) -> None:
    kept = prepared(tmp_path, "kept", "--skip", "lamp:1", "--skip", "lamp:2")
    assert [one.copy for one in compare(three, kept) if one.same] == [3]


def test_the_board_whose_drawing_changed_is_named(three: Path, tmp_path: Path) -> None:
    def moved(space: Modelspace) -> None:
        small_job.edge(space)
        small_job.pad(space, 10.0, 10.0)
        small_job.pad(space, 20.5, 10.0)

    put(tmp_path, THREE, moved)
    result = run("prepare", tmp_path / "job.toml", "--out", tmp_path / "set", "--effort", "low")
    assert result.exit_code == 0, result.output
    result = run("compare", three, tmp_path / "set")
    assert result.exit_code == 0
    assert "lamp copy 2: " in result.stdout
    assert "0 of 3 boards are cut alike" in result.stdout
    loaded = json.loads(run("compare", three, tmp_path / "set", "--json").stdout)
    assert all(one["differs"] > 0 and "drill" in one["cutters"] for one in loaded)
    drilled = [work for one in loaded for work in one["works"] if work["works"] == ["drill"]]
    assert [(work["removed"]["holes"], work["added"]["holes"]) for work in drilled] == [(3, 2)] * 3
    assert "lamp copy 3: drilling with drill: 3 holes removed, 2 holes added, at " in result.stdout


@pytest.fixture(scope="module")
def single(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return prepared(tmp_path_factory.mktemp("single"), "set", text=small_job.JOB)


CHANGES = {
    "feed": (
        'preset = "vee-30-0.1"\nfeed = 250',
        r"lamp copy 1: isolation with vee: (\d+) moves \([\d.]+ mm\) at 250 mm/min instead of 300",
    ),
    "tip": (
        'preset = "vee-30-0.1"\ntip = 0.0',
        r"lamp copy 1: isolation with vee: \d+ moves .* removed, \d+ moves .* added, at .*",
    ),
}


@pytest.mark.parametrize("name", CHANGES)
def test_what_differs_is_said_by_kind_of_work(single: Path, tmp_path: Path, name: str) -> None:
    key, words = CHANGES[name]
    other = prepared(tmp_path, "set", text=changed('preset = "vee-30-0.1"', key))
    lines = run("compare", single, other).stdout.splitlines()
    assert re.fullmatch(words, lines[0]), lines
    assert lines[1:] == ["0 of 1 boards are cut alike"]


def test_holes_that_go_deeper_are_said_with_both_depths(single: Path, tmp_path: Path) -> None:
    deeper = changed("spoilboard = 6.0", "spoilboard = 6.0\nbreakthrough = 0.4")
    other = prepared(tmp_path, "set", text=deeper)
    (copy,) = compare(single, other)
    (drilled,) = [work for work in copy.works if work.works == ("drill",)]
    assert drilled.depth is not None
    assert drilled.depth.amount.holes == 3
    assert drilled.depth.before - drilled.depth.after == pytest.approx(0.4 - 0.25, abs=0.06)
    assert (drilled.removed.moves, drilled.added.moves, drilled.feed) == (0, 0, None)


def test_two_folders_are_all_it_needs(single: Path, tmp_path: Path) -> None:
    for name in ("a", "b"):
        shutil.copytree(single, tmp_path / name)
        (tmp_path / name / "toolpaths.csv").unlink()
    assert [copy.same for copy in compare(tmp_path / "a", tmp_path / "b")] == [True]
    file = tmp_path / "b" / "blank-1/pass-1/03-drill-1.0.ngc"
    text = file.read_text("ascii")
    changed_text = re.sub(r"(\(restart point 2\)\nG1 Z\S+ F\S+\nG1 Z-)", r"\g<1>1", text)
    file.write_text(changed_text, "ascii")
    (copy,) = compare(tmp_path / "a", tmp_path / "b")
    assert [(work.works, work.depth and work.depth.amount.holes) for work in copy.works] == [
        (("drill",), 1)
    ]


def tampered(single: Path, tmp_path: Path, what: str, change: Callable[[str], str]) -> Path:
    """A copy of the set whose programs of a kind were changed."""
    shutil.copytree(single, tmp_path / "other")
    (file,) = (tmp_path / "other").rglob(f"*-{what}-*.ngc")
    file.write_text(change(file.read_text("ascii")), "ascii")
    return tmp_path / "other"


def test_a_program_without_a_head_is_known_by_its_row(single: Path, tmp_path: Path) -> None:
    bare = tampered(single, tmp_path, "isolate", lambda text: re.sub(r"(?m)^\(.*\)\n", "", text))
    (copy,) = compare(single, bare)
    assert copy.same
    assert run("compare", single, bare).stdout.splitlines()[-1] == "1 of 1 boards are cut alike"


def test_a_program_that_changes_its_cutter_where_none_was_is_refused(
    single: Path, tmp_path: Path
) -> None:
    stop = "\nM0 (MSG, change to drill: set Z zero with it)\nM2\n"
    twice = tampered(single, tmp_path, "isolate", lambda text: text.replace("\nM2\n", stop))
    done = run("compare", single, twice)
    assert done.exit_code == 2, done.output
    words = "report.json says that blank-1/pass-1/02-isolate-vee.ngc holds 1 program, and it holds"
    assert f"{words} 2. Prepare the set again" in done.stderr


def move(kind: Kind, start: Place, end: Place, centre: Point | None = None) -> TraceMove:
    return TraceMove(kind, start, end, centre, None if kind == "rapid" else 300.0, 1)


DOWN = -0.1
A, B, C, D = ((1.0, 0.0, DOWN), (0.0, 1.0, DOWN), (-1.0, 0.0, DOWN), (0.0, -1.0, DOWN))
E = (1.0, 2.0, DOWN)
ZERO = (0.0, 0.0)


@pytest.mark.parametrize(
    ("moves", "lengths"),
    [
        # there and back again is no one cut, though it ends where it began
        ([move("feed", A, B), move("feed", B, A)], [math.sqrt(2)] * 2),
        ([move("feed", A, (0.5, 0.5, DOWN)), move("feed", (0.5, 0.5, DOWN), B)], [math.sqrt(2)]),
        # two halves are a circle, three are one and a half
        (
            [move("arc_ccw", A, C, ZERO), move("arc_ccw", C, A, ZERO)],
            [2 * math.pi],
        ),
        (
            [move("arc_ccw", start, end, ZERO) for start, end in ((A, C), (C, A), (A, C))],
            [2 * math.pi, math.pi],
        ),
        # the same turn about another centre
        (
            [
                move("arc_ccw", A, B, ZERO),
                move("arc_ccw", B, (1.0, 2.0, DOWN), centre=(1.0, 1.0)),
            ],
            [math.pi / 2, math.pi * 1.5],
        ),
        ([move("arc_cw", A, D, ZERO), move("arc_ccw", D, A, ZERO)], [math.pi / 2] * 2),
    ],
)
def test_what_goes_on_along_a_line_or_an_arc_is_one_cut(
    moves: list[TraceMove], lengths: list[float]
) -> None:
    """The last run ends with the file, in the work."""
    (run_,) = _runs(moves)
    assert [cut.length for cut in _joined(run_)] == pytest.approx(lengths)


def test_a_travel_move_ends_a_run() -> None:
    up, back = (0.0, 1.0, 5.0), (1.0, 0.0, 5.0)
    moves = [move("feed", A, B), move("rapid", B, up), move("rapid", up, back)]
    runs = list(_runs([*moves, move("feed", back, A), move("feed", A, D)]))
    assert [[cut.end for cut in cuts_] for cuts_ in runs] == [[B], [A, D]]
    assert {cut.turn for cuts_ in runs for cut in cuts_} == {0.0}
    # from where the cutter comes down is no matter of the cut
    assert runs[1][0].start == (1.0, 0.0, 0.0)


def test_a_set_of_an_older_version_needs_its_job(single: Path, tmp_path: Path) -> None:
    old = tmp_path / "old"
    shutil.copytree(single, old)
    shutil.rmtree(old / "job")
    report = json.loads((old / "report.json").read_text("utf-8"))
    report["files"] = [row for row in report["files"] if not row["file"].startswith("job/")]
    (old / "report.json").write_text(json.dumps(report, indent=1))
    result = run("compare", single, old)
    assert result.exit_code == 2
    assert "from job.toml, which is neither here nor next to the set. Put it there" in result.stderr
    put(tmp_path)
    assert [copy.same for copy in compare(single, old)] == [True]


def test_a_set_without_one_of_its_programs_is_refused(single: Path, tmp_path: Path) -> None:
    shutil.copytree(single, tmp_path / "set")
    (tmp_path / "set" / "blank-1/pass-1/03-drill-1.0.ngc").unlink()
    result = run("compare", single, tmp_path / "set")
    assert result.exit_code == 2
    assert "03-drill-1.0.ngc, which cannot be read" in result.stderr


def test_a_folder_without_a_set_is_refused(three: Path, tmp_path: Path) -> None:
    assert run("compare", three, tmp_path).exit_code == 2


def test_an_unknown_copy_is_a_slip_of_usage(tmp_path: Path) -> None:
    job_file = put(tmp_path, THREE)
    result = run("prepare", job_file, "--out", tmp_path / "set", "--skip", "lamp:9")
    assert result.exit_code == 2
    assert "There is no board lamp copy 9" in result.stderr
    assert run("prepare", job_file, "--out", tmp_path / "set", "--skip", "lamp").exit_code == 2


def test_an_offcut_is_touched_where_it_is(tmp_path: Path) -> None:
    corners = "[[20, 0], [140, 0], [140, 60], [0, 60], [0, 25], [20, 25]]"
    text = THREE.replace("140.0, 50.0]", f"140.0, 60.0]\noutline = {corners}")
    text = text.replace("margin = 10.0", "margin = 6.0")
    out = prepared(tmp_path, "set", text=text)
    (one,) = json.loads((out / "report.json").read_text("utf-8"))["passes"]
    x, y = one["touch"]
    assert x > 20 or y > 25


def test_a_board_made_again_elsewhere_is_cut_by_the_same_moves(three: Path, tmp_path: Path) -> None:
    """At the low end of an empty blank, upright or turned, where nothing lies beside it."""
    for copy in (1, 2, 3):
        again = prepared(tmp_path, f"only-{copy}", "--only", f"lamp:{copy}")
        (one,) = [found for found in compare(three, again) if found.only_in is None]
        assert (one.board, one.copy, one.same) == ("lamp", copy, True)
