"""Levelling as a person does it: probe, read, level, verify; and what is refused."""

from __future__ import annotations

import itertools
import json
import math
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import jsonschema
import numpy as np
import pytest
import shapely
from click.testing import Result

from millprep.gcode.post_processor import lines_of_arc
from millprep.geometry.path import FloatArray
from millprep.model.dialect import Dialect
from millprep.model.program import Move
from millprep.report.report_model import Report
from millprep.verify import reader
from millprep.verify.sweep import arc_samples
from millprep.workflow.compare import SAME, TaskCompared, _compared, compare, nearness
from millprep.workflow.set_cuts import Cut, CutsByTask, CutterTask
from millprep.workflow.verify import verify
from tests.conftest import EXAMPLES
from tests.helpers import bent, rs274_tool
from tests.helpers.small_job import changed, put, run
from tests.helpers.strip_set import JOB, MOVE, programs, readings, strip

Texts = dict[str, str]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with job, set, and `level-1`, whose pass 1 follows a bent blank."""
    folder = tmp_path_factory.mktemp("bent")
    table = bent.probed(bent.prepared(folder), 1, folder)
    done = level(folder, table, folder / "level-1")
    assert done.exit_code == 0, done.output
    return folder


def level(folder: Path, table: Path, out: Path, *words: str, of: str = "set") -> Result:
    more = words if "--pass" in words else ("--pass", "1", *words)
    return run(
        "level", folder / of, table, "--out", out, "--repeatability", str(bent.NOISE),
        "--job", folder / "job.toml", *more,
    )  # fmt: skip


def ways(file: Path) -> list[FloatArray]:
    """Places (x, y, z) along each feed of a program that is not on its way down."""
    found: list[FloatArray] = []
    for move in reader.read(file.read_text("ascii"), file=file.name).moves:
        down = move.centre is None and move.start[:2] == move.end[:2]
        if move.kind == "rapid" or down or move.start[2] > 0.45 or move.end[2] > 0.45:
            continue
        if move.centre is None:
            share = np.linspace(0, 1, 12)[:, None]
            at = np.array(move.start) + share * (np.array(move.end) - np.array(move.start))
        else:
            a, r, z = arc_samples(move.start, move.end, move.centre, move.kind == "arc_cw", 1e-3)
            at = np.column_stack(
                (move.centre[0] + r * np.cos(a), move.centre[1] + r * np.sin(a), z)
            )
        found.append(at)
    return found


def depths(file: Path) -> FloatArray:
    """The same of all feeds together, (n, 3)."""
    return np.concatenate(ways(file))


def test_a_levelled_set_cuts_the_same_copper(made: Path) -> None:
    assert [copy.same for copy in compare(made / "set", made / "level-1")] == [True]


def test_a_levelled_set_is_new_whole_and_good(made: Path) -> None:
    old, new = bent.report(made / "set"), bent.report(made / "level-1")
    assert new["derived_from"] == old["set"] != new["set"]
    assert new["inputs"][:2] == old["inputs"]
    assert [i["file"] for i in new["inputs"][2:]] == ["filled-surface-blank-1-pass-1.csv"]
    result = new["passes"][0]["levelling"]
    assert result["file"] == "filled-surface-blank-1-pass-1.csv"
    assert new["passes"][1]["levelling"] is None
    jsonschema.validate(new, Report.model_json_schema())
    done = run("verify", made / "level-1")
    assert done.exit_code == 0, done.output
    assert "2 copper pieces, 0 shorts, 0 opens" in done.stdout


def test_only_the_pass_changes_and_only_in_depth(made: Path) -> None:
    old, new = programs(made / "set"), programs(made / "level-1")
    assert old.keys() == new.keys()
    changed = {name for name in old if old[name] != new[name]}
    assert changed
    assert all("pass-1/" in name for name in changed)
    assert not any("dry-run" in name for name in changed)
    name = next(name for name in sorted(changed) if "isolate" in name)
    before, after = (ways(made / of / name) for of in ("set", "level-1"))
    # every place of the one way lies on the other
    for some, others in ((before, after), (after, before)):
        lines = shapely.MultiLineString([way[:, :2] for way in others])
        spots = shapely.points(np.concatenate(some)[:, :2])
        assert shapely.distance(spots, lines).max() < 2e-3


def error(made: Path, of: str, number: int) -> float:
    """The largest error of depth of what isolates in a pass, against the true blank."""
    zero = bent.touch(made / of, number)
    worst = 0.0
    for one in bent.report(made / of)["passes"][number - 1]["programs"]:
        if one["work"] == "isolate":
            at = depths(made / of / one["file"])
            real = bent.bow(at[:, 0], at[:, 1]) - bent.bow(zero[:, 0], zero[:, 1])
            worst = max(worst, float(np.abs(at[:, 2] - real + 0.08).max()))
    return worst


def test_grooves_follow_the_true_blank_but_for_noise_and_bends(made: Path) -> None:
    report = bent.report(made / "level-1")["passes"][0]["levelling"]
    assert error(made, "set", 1) > 0.05
    assert error(made, "level-1", 1) < report["left"]


def test_without_noise_on_even_rows_5_um_are_kept(made: Path, tmp_path: Path) -> None:
    table = bent.probed(made / "set", 1, tmp_path, noise=0.0)
    shutil.copy(made / "job.toml", tmp_path)
    shutil.copy(made / "lamp.dxf", tmp_path)
    assert level(made, table, tmp_path / "exact").exit_code == 0
    # a bow of 0.2 mm over 60 mm on rows 12 mm apart bends by 2 µm between them
    assert error(tmp_path, "exact", 1) < 0.005


def test_the_second_pass_is_levelled_after_the_first_and_keeps_it(made: Path) -> None:
    table = bent.probed(made / "level-1", 2, made)
    done = level(made, table, made / "level-2", "--pass", "2", of="level-1")
    assert done.exit_code == 0, done.output
    first, both = bent.report(made / "level-1"), bent.report(made / "level-2")
    assert both["derived_from"] == first["set"]
    assert both["passes"][0]["levelling"] == first["passes"][0]["levelling"]
    assert both["passes"][1]["levelling"] is not None
    one, two = programs(made / "level-1"), programs(made / "level-2")
    assert all(one[name] == two[name] for name in one if "pass-1/" in name)
    assert [i["file"] for i in both["inputs"][2:]] == [
        "filled-surface-blank-1-pass-1.csv", "filled-surface-blank-1-pass-2.csv",
    ]  # fmt: skip
    assert error(made, "level-2", 2) < both["passes"][1]["levelling"]["left"]
    assert verify(made / "level-2").good


def test_a_refitted_set_is_levelled_and_a_levelled_one_refitted(made: Path, tmp_path: Path) -> None:
    file, _ = readings(made / "level-1", tmp_path / "read.toml", MOVE)
    job = made / "job.toml"
    done = run("refit", made / "level-1", file, "--pass", "2", "--out", tmp_path / "moved",
               "--job", job)  # fmt: skip
    assert done.exit_code == 0, done.output
    new = bent.report(tmp_path / "moved")
    assert new["passes"][0]["levelling"] is not None
    assert "[map-before-refit]" not in done.stderr
    shutil.copy(job, tmp_path)
    shutil.copy(made / "lamp.dxf", tmp_path)
    table = bent.probed(tmp_path / "moved", 2, tmp_path)
    done = level(tmp_path, table, tmp_path / "both", "--pass", "2", of="moved")
    assert done.exit_code == 0, done.output
    assert (
        bent.report(tmp_path / "both")["passes"][1]["blank_to_machine"]
        == (new["passes"][1]["blank_to_machine"])
    )
    assert verify(tmp_path / "both").good
    # and the pass that follows a map may be fitted once more, with a word
    file, _ = readings(tmp_path / "both", tmp_path / "again.toml", MOVE.inverse())
    done = run("refit", tmp_path / "both", file, "--pass", "2", "--out", tmp_path / "last")
    assert "[map-before-refit]" in done.stderr or "[map-too-small]" in done.stderr


def test_pictures_of_relief_and_of_what_would_have_been(made: Path) -> None:
    found = {f.name for f in (made / "level-1" / "previews").iterdir()}
    assert {"blank-1-pass-1-relief.png", "blank-1-pass-1-without-map.png"} <= found
    assert "blank-1-pass-2-relief.png" not in found


def test_what_would_have_been_is_reported_in_words(made: Path) -> None:
    findings = bent.report(made / "level-1")["findings"]
    (one,) = [f for f in findings if f["code"] == "grooves-without-map"]
    (report,) = bent.report(made / "level-1")["passes"][0]["levelling"]["uncorrected"]
    low, high = report["foot"]
    assert f"{low:.3f} to {high:.3f} mm wide at the foot" in one["message"]
    assert low == 0.0
    assert report["lost_length"] > 0
    assert len(report["lost"]) > 0


def test_the_same_map_gives_the_same_bytes(made: Path, tmp_path: Path) -> None:
    table = made / "surface-1" / "filled-surface-blank-1-pass-1.csv"
    assert level(made, table, tmp_path / "again").exit_code == 0
    for file in (made / "level-1").rglob("*"):
        if file.is_file():
            other = tmp_path / "again" / file.relative_to(made / "level-1")
            assert file.read_bytes() == other.read_bytes(), file


def test_a_log_serves_as_well(made: Path, tmp_path: Path) -> None:
    """The same job with a machine that logs; a job is known by its hash, so its set is its own."""
    job = tmp_path / "job.toml"
    pattern = r"probe_log = '\[PRB:(?P<x>[^,]+),(?P<y>[^,]+),(?P<z>[^\]]+)\]'"
    text = (made / "job.toml").read_text()
    job.write_text(text.replace("travel = [80.0", f"{pattern}\ntravel = [80.0"))
    shutil.copy(made / "lamp.dxf", tmp_path)
    assert run("prepare", job, "--out", tmp_path / "set").exit_code == 0
    table = bent.probed(tmp_path / "set", 1, tmp_path)
    program = next((tmp_path / "surface-1").glob("*.ngc")).read_text("ascii")
    assert program.count("M0") == 1, "for the look at Z zero"
    rows = [r for r in table.read_text().splitlines() if r[:1].isdigit()]
    log = tmp_path / "log.txt"
    log.write_text("hello\n" + "".join(f"12:00 [PRB:{row}]\nok\n" for row in rows))
    done = level(tmp_path, log, tmp_path / "new")
    assert done.exit_code == 0, done.output
    assert "[map-without-set]" in done.stderr


def spoilt(change: Callable[[list[str]], None]) -> Callable[[Path, Path], Path]:
    def make(made: Path, tmp_path: Path) -> Path:
        table = made / "surface-1" / "filled-surface-blank-1-pass-1.csv"
        lines = table.read_text().splitlines()
        change(lines)
        file = tmp_path / "map.csv"
        file.write_text("\n".join(lines))
        return file

    return make


def speck(lines: list[str]) -> None:
    x, y, z = lines[20].split(",")
    lines[20] = f"{x},{y},{float(z) + 0.15:.4f}"


def other_set(lines: list[str]) -> None:
    lines[1] = "# set ffffffffffff"


def other_pass(lines: list[str]) -> None:
    lines[3] = "# pass 2"


def less(lines: list[str]) -> None:
    """One column less on the left: the cuts are not enclosed any more."""
    rows = [line.split(",") for line in lines[6:]]
    xs = sorted({float(r[0]) for r in rows})
    lines[6:] = [",".join(r) for r in rows if float(r[0]) != xs[-1]]


def inches(lines: list[str]) -> None:
    lines[6:] = [",".join(f"{float(v) / 25.4:.5f}" for v in r.split(",")) for r in lines[6:]]


def word(lines: list[str]) -> None:
    lines[10] = "12.0,abc,0.1"


@pytest.mark.parametrize(
    ("change", "code", "exit_code"),
    [
        (speck, "map-outlier", 1),
        (other_set, "map-of-another-set", 1),
        (other_pass, "map-of-another-pass", 1),
        (less, "map-too-small", 1),
        (inches, "map-in-inches", 1),
        (word, "map-syntax", 2),
    ],
)
def test_a_bad_map_is_refused_and_nothing_is_written(
    made: Path, tmp_path: Path, change: Callable[[list[str]], None], code: str, exit_code: int
) -> None:
    done = level(made, spoilt(change)(made, tmp_path), tmp_path / "new")
    assert done.exit_code == exit_code, done.output
    assert f"[{code}]" in done.stderr
    assert not (tmp_path / "new").exists()


def test_slips_of_the_call(made: Path, tmp_path: Path) -> None:
    table = made / "surface-1" / "filled-surface-blank-1-pass-1.csv"
    done = level(made, table, made / "set")
    assert "[level-same-folder]" in done.stderr
    done = level(made, table, tmp_path / "new", "--pass", "7")
    assert "[pass-unknown]" in done.stderr


@pytest.mark.parametrize("lines", [0, 1, 300])
def test_a_table_of_motions_that_lost_its_end_is_no_measure_of_the_cuts(
    made: Path, tmp_path: Path, lines: int
) -> None:
    """The map must enclose all cuts, not those that are left in the table."""
    shutil.copytree(made / "set", tmp_path / "set")
    table = tmp_path / "set" / "toolpaths.csv"
    table.write_text("".join(table.read_text("ascii").splitlines(keepends=True)[:lines]), "ascii")
    surface = made / "surface-1" / "filled-surface-blank-1-pass-1.csv"
    done = level(tmp_path, surface, tmp_path / "new")
    assert done.exit_code == 1, done.output
    assert "toolpaths.csv was edited after it was written" in done.stderr
    assert not (tmp_path / "new").exists()


def spoilt_set(made: Path, tmp_path: Path) -> tuple[Path, Path]:
    """A copy of the levelled set, and its program that isolates."""
    out = tmp_path / "set"
    shutil.copytree(made / "level-1", out)
    shutil.copy(made / "job.toml", tmp_path)
    shutil.copy(made / "lamp.dxf", tmp_path)
    return out, next((out / "blank-1" / "pass-1").glob("*isolate*"))


@pytest.mark.parametrize("by", [0.06, -1.5])
def test_a_program_at_another_height_is_found_by_the_simulation(
    made: Path, tmp_path: Path, by: float
) -> None:
    out, file = spoilt_set(made, tmp_path)

    def higher(word: re.Match[str]) -> str:
        z = float(word[1])
        return f"Z{z + by if z < 1 else z:.4f}"

    file.write_bytes(re.sub(r"\bZ(-?[\d.]+)", higher, file.read_text("ascii")).encode("ascii"))
    done = verify(out, hashes=False)
    assert not done.good


def test_a_move_that_is_not_split_where_the_blank_bends_is_found(
    made: Path, tmp_path: Path
) -> None:
    out, file = spoilt_set(made, tmp_path)
    lines = file.read_text("ascii").split("\n")
    along = [bool(re.fullmatch(r"G1 X\S+( Z\S+)?", line)) for line in lines]
    # the pieces of a rail's side become one
    first = next(n for n in range(len(lines)) if all(along[n : n + 3]))
    last = next(n for n in range(first, len(lines)) if not along[n]) - 1
    del lines[first:last]
    file.write_bytes("\n".join(lines).encode("ascii"))
    codes = {f.code for f in verify(out, hashes=False).findings}
    assert "map-not-followed" in codes


def test_a_cut_beyond_the_map_is_found(made: Path, tmp_path: Path) -> None:
    out, file = spoilt_set(made, tmp_path)
    text = file.read_text("ascii")
    plunge = re.search(r"\nG0 Z0\.\S+\nG1 Z\S+ F\S+\n", text)
    assert plunge is not None
    text = text[: plunge.start()] + "\nG0 X1.0000 Y1.5000" + text[plunge.start() :]
    file.write_bytes(text.encode("ascii"))
    codes = {f.code for f in verify(out, hashes=False).findings}
    assert "map-left" in codes


def test_results_as_json(made: Path, tmp_path: Path) -> None:
    table = made / "surface-1" / "filled-surface-blank-1-pass-1.csv"
    done = level(made, table, tmp_path / "new", "--json")
    assert json.loads(done.stdout)["passes"][0]["levelling"]["repeatability"] == bent.NOISE


@pytest.fixture(scope="module")
def long_board(memory_board: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The half-metre board, its first pass on a blank that bows by 0.4 mm and is twisted."""
    folder = tmp_path_factory.mktemp("long")
    job = str(EXAMPLES / "memory-board.toml")
    out = folder / "surface"
    done = run("probe", memory_board, "--pass", "1", "--job", job, "--out", out)
    assert done.exit_code == 0, done.output
    table = out / "surface-blank-1-pass-1.csv"
    filled = bent.fill(table, bowed, bent.touch(memory_board, 1), bent.NOISE, 5)
    done = run(
        "level", memory_board, filled, "--pass", "1", "--out", folder / "new", "--job", job,
        "--repeatability", str(bent.NOISE),
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    assert "237 copper pieces, 0 shorts, 0 opens" in done.stdout
    return folder / "new"


def bowed(x: FloatArray, y: FloatArray) -> FloatArray:
    """0.4 mm over 480 mm, and a twist; pass 1 begins at the blank's low corner."""
    bent_: FloatArray = 0.4 * (1 - ((x - 250) / 250) ** 2)
    return bent_ + 0.15 * (x / 500 - 0.5) * (y / 120 - 0.5)


def test_the_long_board_is_cut_as_deep_everywhere(long_board: Path) -> None:
    one = bent.report(long_board)["passes"][0]
    zero = bent.touch(long_board, 1)
    (file,) = [p["file"] for p in one["programs"] if p["work"] == "isolate"]
    at = depths(long_board / file)
    off = at[:, 2] + 0.1 - (bowed(at[:, 0], at[:, 1]) - bowed(zero[:, 0], zero[:, 1]))
    levelled = np.abs(off - np.round(np.median(off), 4))
    # 5 µm, and what four readings of a cell are off by
    assert levelled.max() < 0.005 + 3 * bent.NOISE
    assert np.sqrt((levelled**2).mean()) < 0.005


@pytest.mark.skipif(rs274_tool.interpreter() is None, reason="no outside RS-274 interpreter")
def test_the_outside_interpreter_runs_levelled_programs(long_board: Path) -> None:
    for file in sorted((long_board / "blank-1" / "pass-1").glob("*.ngc")):
        text = file.read_text("ascii")
        canon = rs274_tool.canon(text)
        mine = [m.end for m in reader.read(text, file=file.name).moves]
        ends = np.array([(m.x, m.y, m.z) for m in canon])
        known = np.array([e for e in mine if not np.isnan(e).any()])
        assert ends[-len(known) :] == pytest.approx(known, abs=1.1e-4), file.name


def test_maps_are_followed_in_every_way_a_machine_is_spoken_to(tmp_path: Path) -> None:
    """One file a pass, lines for arcs, drilling cycles, three decimals, all at once."""
    words = (
        'travel = [80.0, 70.0]\ntool_change = "pause"\n'
        "[machine.dialect]\narcs = false\ncycles = true\ndecimals = 3"
    )
    job = put(tmp_path, changed("travel = [80.0, 70.0]", words, JOB), strip)
    assert run("prepare", job, "--out", tmp_path / "set").exit_code == 0
    table = bent.probed(tmp_path / "set", 1, tmp_path)
    done = level(tmp_path, table, tmp_path / "new")
    assert done.exit_code == 0, done.output
    (one,) = {p["file"] for p in bent.report(tmp_path / "new")["passes"][0]["programs"][1:]}
    text = (tmp_path / "new" / one).read_text("ascii")
    assert "follow the surface map" in text
    assert "G2 " not in text
    assert verify(tmp_path / "new").good


def test_an_arc_that_levelling_parts_is_the_same_cut_and_a_shifted_one_is_not() -> None:
    def arc(first: float, last: float, z: float = -0.1) -> Cut:
        (x, y), (u, v) = ((2 * math.cos(t), 2 * math.sin(t)) for t in (first, last))
        return Cut("arc_ccw", (x, y, z), (u, v, z), (0.0, 0.0), 200.0)

    task = CutterTask(("isolate",), "vee")
    end = arc(1.18, 1.2)
    short = end._replace(kind="feed", centre=None)
    parted = [arc(0.0, 0.7), arc(0.7, 1.18), short]
    assert differing({task: [arc(0.0, 1.2)]}, {task: parted}) == ()
    for wrong in (
        [arc(0.0, 0.7), short],
        [arc(0.0, 0.7), arc(0.7, 1.18, -0.11), short],
        [cut._replace(feed=100.0) for cut in parted],
    ):
        assert differing({task: [arc(0.0, 1.2)]}, {task: wrong}) != ()


def test_an_arc_that_was_parted_before_it_became_lines_is_the_same_cut() -> None:
    def lines(*angles: float) -> list[Cut]:
        cuts = []
        for first, last in itertools.pairwise(angles):
            (x, y), (u, v) = ((5 * math.cos(t), 5 * math.sin(t)) for t in (first, last))
            at = (x, y, -0.1)
            for part in lines_of_arc(Move("arc_ccw", u, v, -0.1, -x, -y, 200.0), at):
                there = (part.x, part.y, part.z)
                cuts.append(Cut("feed", at, there, None, part.feed))
                at = there
        return cuts

    task = CutterTask(("isolate",), "vee")
    near = nearness([Dialect(arcs=False)] * 2)
    whole, parted = {task: lines(0.0, 1.0)}, {task: lines(0.0, 0.23, 1.0)}
    assert differing(whole, parted, near) == ()
    assert differing(whole, parted, nearness([Dialect()] * 2)) != ()
    shifted = [cut._replace(start=(cut.start[0] + 0.01, *cut.start[1:])) for cut in lines(0.0, 1.0)]
    assert differing(whole, {task: shifted}, near) != ()


def test_what_pairs_leave_over_is_looked_for_on_their_paths_too() -> None:
    """Places of lines that replace an arc differ by less than pairs may, and by more."""
    ways = ([0.0, 0.15, 0.3, 0.45], [0.0, 0.1525, 0.3065, 0.45], [0.0, 0.15, 0.156, 0.3, 0.45])
    whole, shifted, parted = (
        [
            Cut("feed", (a, 0.0, -0.1), (b, 0.0, -0.1), None, 200.0)
            for a, b in itertools.pairwise(way)
        ]
        for way in ways
    )
    task = CutterTask(("isolate",), "vee")
    for after in (shifted, parted):
        assert differing({task: whole}, {task: after}, 0.005) == ()
    for after in (whole[:1], whole[1:], [*whole[:1], *whole[2:]]):
        assert differing({task: whole}, {task: after}, 0.005) != ()


def differing(
    before: CutsByTask, after: CutsByTask, near: float = SAME
) -> tuple[TaskCompared, ...]:
    return _compared(before, after, near, split=True)
