"""The bench file: which one a job takes, what it gives, and where its mistakes are."""

from __future__ import annotations

import hashlib
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner
from ezdxf.layouts.layout import Modelspace

from millprep.cli.main import commands
from millprep.job import load
from millprep.job.copies import keep
from millprep.job.load import bench_tables
from millprep.model.cutter import Vee
from millprep.model.finding import Refusal
from millprep.model.job.keys import InputFile
from tests.helpers.small_job import JOB, draw, edge, pad, run, track

START, BOARDS = JOB.index("[machine]"), JOB.index("[[board]]")
BENCH = JOB[START:BOARDS] + JOB[JOB.index("[cutters.vee]") :]
BOARD = """\
[[board]]
drawing = "lamp.dxf"
drawn_from = "copper"
layers = { copper = ["sheen"], outline = ["shore"], holes = ["wells"] }
"""
NAMED = f'bench = "mill.toml"\n{BOARD}'


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A person's configuration folder."""
    folder = tmp_path / "home"
    folder.mkdir()
    monkeypatch.setattr("platformdirs.user_config_path", lambda *_, **__: folder)
    return folder


@pytest.fixture
def shop(tmp_path: Path, home: Path) -> Path:
    """A folder with a drawing."""
    assert home.is_dir()
    folder = tmp_path / "shop"
    folder.mkdir()
    draw(folder / "lamp.dxf")
    return folder


def write(file: Path, text: str) -> Path:
    file.write_text(text, "utf-8")
    return file


def messages(job: Path) -> list[str]:
    with pytest.raises(Refusal) as refused:
        load(job)
    assert refused.value.exit_code == 2
    return [f.message.replace(f"{job.parent}/", "") for f in refused.value.findings]


def test_a_bench_gives_what_the_job_does_not_state(shop: Path) -> None:
    write(shop / "mill.toml", BENCH)
    plan = load(write(shop / "rail.toml", NAMED))
    whole = load(write(shop / "whole.toml", JOB))
    assert (plan.name, plan.boards[0].name) == ("rail", "lamp")
    assert plan.bench is not None
    assert plan.bench.file == shop / "mill.toml"
    for table in ("machine", "setup", "blanks", "cutters", "isolation", "drilling", "profile"):
        assert getattr(plan, table) == getattr(whole, table)


def test_what_the_job_states_counts_key_by_key(shop: Path) -> None:
    measured = BENCH.replace('preset = "vee-30-0.1"', 'preset = "vee-30-0.1"\ntip = 0.13')
    write(shop / "mill.toml", measured)
    more = "[isolation]\ngap = 0.25\n[machine]\nmax_feed = 700.0\n"
    plan = load(write(shop / "rail.toml", NAMED + more))
    assert (plan.isolation.gap, plan.machine.max_feed) == (0.25, 700.0)
    (vee,) = plan.isolation.cutters
    assert isinstance(vee, Vee)
    assert vee.tip == 0.13
    # another cutter under the same name has nothing of the old one
    plan = load(write(shop / "rail.toml", NAMED + '[cutters.vee]\npreset = "vee-45-0.1"\n'))
    (vee,) = plan.isolation.cutters
    assert isinstance(vee, Vee)
    assert (vee.tip, vee.angle) == (0.1, 45.0)


def test_a_job_without_a_machine_takes_the_nearest_bench(shop: Path, home: Path) -> None:
    job = write(shop / "rail.toml", BOARD)
    assert any("machine" in words for words in messages(job))
    write(home / "bench.toml", BENCH.replace("small-mill-300", "small-mill-200"))
    plan = load(job)
    assert plan.bench is not None
    assert (plan.bench.file, plan.machine.name) == (home / "bench.toml", "small-mill-200")
    write(shop / "bench.toml", BENCH)
    plan = load(job)
    assert plan.bench is not None
    assert (plan.bench.file, plan.machine.name) == (shop / "bench.toml", "small-mill-300")


def test_a_whole_job_takes_no_bench_that_it_does_not_name(shop: Path) -> None:
    write(shop / "bench.toml", "[setup]\ntape = 3\n")
    assert load(write(shop / "whole.toml", JOB)).bench is None


def test_presets_of_ones_own(shop: Path) -> None:
    mine = '[presets.laminates.mine]\nthickness = 1.5\ncopper = 0.018\ngrade = "FR-1"\n'
    write(shop / "mill.toml", BENCH.replace("fr4-1.6-35", "mine") + mine)
    (blank,) = load(write(shop / "rail.toml", NAMED)).blanks
    assert (blank.thickness, blank.copper, blank.grade) == (1.5, 0.018, "FR-1")


@pytest.mark.parametrize(
    ("bench", "job", "message"),
    [
        (BENCH.replace("gap = 0.3", "gap = 0"), "", "mill.toml:22:1: [isolation] gap must be"),
        (
            BENCH.replace("tape = true", "tapes = true"),
            "",
            "mill.toml:10:1: [setup] tapes is no known key",
        ),
        (BENCH.replace("gap = 0.3", "gap = 0.3.1"), "", "mill.toml:22:10: this is not valid TOML"),
        (BENCH + BOARD, "", "mill.toml:31:3: [board] is no table of a bench file"),
        (BENCH, "[isolation]\ngap = 0\n", "rail.toml:7:1: [isolation] gap must be"),
        (
            BENCH.replace("vee-30-0.1", "m") + '[presets.cutters.m]\nkind = "vee"\ntip = -1.0',
            "",
            "mill.toml:33:1: [cutters.vee] tip must be",
        ),
        (BENCH + "[presets.cutter.x]\ntip = 1\n", "", 'mill.toml:31:10: [presets] cutter must be'),
        (BENCH, "[isolation]\ncutters = []\n", "rail.toml:7:1: [isolation] cutters must be"),
    ],
)  # fmt: skip
def test_a_mistake_is_where_it_was_made(shop: Path, bench: str, job: str, message: str) -> None:
    write(shop / "mill.toml", bench)
    found = messages(write(shop / "rail.toml", NAMED + job))
    assert [m for m in found if m.startswith(message)], found


def test_a_bench_that_is_not_there(shop: Path) -> None:
    write(shop / "mills.toml", BENCH)
    (message,) = messages(write(shop / "rail.toml", NAMED))
    assert message == (
        'rail.toml:1:1: bench is no file: "mill.toml", seen from the job file\'s folder; nearest '
        'spelling: "mills.toml"'
    )


def test_paths_in_a_bench_start_at_its_folder(shop: Path, home: Path) -> None:
    text = BENCH.replace("[blank]", '[machine.time]\nlog = "runs.toml"\n[blank]')
    write(home / "bench.toml", text)
    log = load(write(shop / "rail.toml", BOARD)).machine.time.log
    assert log is not None
    assert log.file == home / "runs.toml"


def test_a_set_keeps_its_bench(shop: Path, home: Path) -> None:
    bench = write(home / "bench.toml", BENCH)
    done = run("prepare", write(shop / "rail.toml", BOARD), "--out", shop / "set")
    assert done.exit_code == 0, done.output
    assert "taken from the bench file bench.toml. [bench-used]" in done.stderr
    assert (shop / "set" / "job" / "bench.toml").read_bytes() == bench.read_bytes()
    write(bench, BENCH.replace("tape = true", "tape = false"))
    done = run("verify", shop / "set")
    assert done.exit_code == 0, done.output
    # a bench next to the kept job is not taken for it
    kept = shop / "set" / "job" / "bench.toml"
    kept.write_bytes(kept.read_bytes() + b"\n")
    assert "job/bench.toml was edited" in run("verify", shop / "set").stderr


ANSWERS = (
    *("--travel", "300,180", "--spindle", "hand", "--sheet", "100,80"),
    *("--cutter", "vee-30-0.1", "--cutter", "drill-1.0", "--cutter", "endmill-2"),
)


def test_a_new_bench_and_a_new_job_prepare_without_an_edit(shop: Path) -> None:
    made = run("bench", "new", shop / "mill.toml", *ANSWERS)
    assert made.exit_code == 0, made.output
    done = run(
        "new", shop / "lamp.dxf", "--drawn-from", "copper", "--bench", shop / "mill.toml",
        "--out", shop / "lamp.toml",
    )  # fmt: skip
    assert done.exit_code == 0, done.output
    text = (shop / "lamp.toml").read_text("utf-8")
    assert 'bench = "mill.toml"' in text
    assert not any(f"[{name}" in text for name in ("machine", "blank", "setup", "cutters", "drill"))
    plan = load(shop / "lamp.toml")
    assert plan.machine.travel_size == (300.0, 180.0)
    assert [cutter.name for cutter in plan.cutters] == ["vee-30-01", "endmill-2", "drill-10"]
    done = run("prepare", shop / "lamp.toml")
    assert done.exit_code == 0, done.output


def test_a_new_bench_asks_nothing_where_nobody_answers(shop: Path) -> None:
    done = run("bench", "new", shop / "mill.toml", *ANSWERS[2:])
    assert done.exit_code == 2
    assert "give --travel: how far the spindle goes" in done.stderr
    assert not (shop / "mill.toml").exists()


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (ANSWERS[:-2], "no end mill is among the cutters"),
        ((*ANSWERS, "--cutter", "vee-30-0.2"), "there is no cutter preset vee-30-0.2"),
        (("--travel", "300x180", *ANSWERS[2:]), "write X,Y in mm"),
        (("--travel", "0,180", *ANSWERS[2:]), "0,180: both must be above 0 and at most 10000 mm"),
    ],
)
def test_slips_in_the_answers(shop: Path, words: tuple[str, ...], message: str) -> None:
    done = run("bench", "new", shop / "mill.toml", *words)
    assert done.exit_code == 2
    assert message in " ".join(done.stderr.split())


def test_a_new_bench_replaces_no_file_and_makes_no_folder(shop: Path) -> None:
    (shop / "mill.toml").write_text("mine")
    done = run("bench", "new", shop / "mill.toml", *ANSWERS)
    assert done.exit_code == 2
    assert "mill.toml exists; name another file" in " ".join(done.stderr.split())
    assert (shop / "mill.toml").read_text() == "mine"
    done = run("bench", "new", shop / "none" / "mill.toml", *ANSWERS)
    assert done.exit_code == 2
    assert "there is no folder" in done.stderr
    assert not (shop / "none").exists()


@pytest.mark.parametrize(("side", "line"), [("copper", 'drawn_from = "copper"'), ("", "")])
def test_a_new_bench_asks_on_a_terminal(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, side: str, line: str
) -> None:
    monkeypatch.setattr("millprep.cli.terminal.somebody_answers", lambda: True)
    file = tmp_path / "mill.toml"
    lines = ["300", "250,160", "program", "", "vee-30-0.1, drill-1.0 ,endmill-2", side]
    done = CliRunner().invoke(commands, ["bench", "new", str(file)], input="\n".join([*lines, ""]))
    assert done.exit_code == 0, done.output
    # the first answer is no size and is asked for again; an empty one takes what is offered
    assert done.stderr.count("How far the spindle goes, X,Y in mm [300,180]: ") == 2
    assert "Error: 300 is no size; write X,Y in mm, such as 300,180" in done.stderr
    assert "Size of the laminate that you usually cut, X,Y in mm [100,160]: " in done.stderr
    made = tomllib.loads(file.read_text("utf-8"))
    assert made["machine"]["travel"][:2] == [250, 160]
    assert made["machine"]["spindle"] == "program"
    assert made["blank"]["size"] == [100, 160]
    presets = [cutter["preset"] for cutter in made["cutters"].values()]
    assert presets == ["vee-30-0.1", "endmill-2", "drill-1.0"]
    assert line in file.read_text("utf-8")
    assert ("drawn_from" in str(made)) == bool(line)


def test_a_bench_log_without_a_bench_says_what_to_name(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(shop)
    done = run("bench", "log")
    assert done.exit_code == 2
    assert "there is no bench.toml here or in the configuration folder; name it" in done.stderr


def fine(space: Modelspace) -> None:
    """Two pads 0.25 mm from a track; holes of 1.0 and 0.8 mm."""
    edge(space)
    pad(space, 8.0, 6.0)
    pad(space, 15.0, 14.0, hole=0.8)
    track(space, [(8.0, 7.95), (22.0, 7.95)], width=1.0)


def new_on_bench(
    shop: Path, count: int = 1, answers: tuple[str, ...] = ANSWERS, side: str | None = "copper"
) -> str:
    """The job that `new` writes on a new bench, which prepares as it is."""
    made = run("bench", "new", shop / "mill.toml", *answers)
    assert made.exit_code == 0, made.output
    done = run(
        *("new", f"{shop / 'lamp.dxf'}={count}", *(("--drawn-from", side) if side else ())),
        *("--bench", shop / "mill.toml", "--out", shop / "lamp.toml"),
    )
    assert done.exit_code == 0, done.output
    assert "left to fill in" not in done.stdout
    prepared = run("prepare", shop / "lamp.toml")
    assert prepared.exit_code == 0, prepared.output
    return done.stderr + (shop / "lamp.toml").read_text("utf-8")


def test_a_new_job_adds_what_the_bench_lacks(shop: Path) -> None:
    draw(shop / "lamp.dxf", fine)
    text = new_on_bench(shop)
    assert "warning: the bench has no cutter for some holes of these boards: drill-08" in text
    assert '[cutters.drill-08]\npreset = "drill-0.8"' in text
    assert '[drilling]\ncutters = ["drill-10", "drill-08"]' in text
    assert "[isolation]\ngap = 0.2   # the narrowest gap is 0.250 mm" in text
    plan = load(shop / "lamp.toml")
    assert [drill.diameter for drill in plan.drilling.cutters] == [1.0, 0.8]


def test_a_new_job_takes_a_finer_vee_where_none_of_the_bench_fits(shop: Path) -> None:
    def close(space: Modelspace) -> None:
        edge(space)
        pad(space, 8.0, 6.0)
        track(space, [(8.0, 7.85), (22.0, 7.85)], width=1.0)

    draw(shop / "lamp.dxf", close)
    wide = tuple("vee-60-0.1" if word == "vee-30-0.1" else word for word in ANSWERS)
    text = new_on_bench(shop, answers=wide)
    assert '[cutters.vee-20-01]\npreset = "vee-20-0.1"' in text
    assert 'cutters = ["vee-20-01"]' in text


def test_a_new_job_takes_more_or_larger_sheets_than_the_bench_has(shop: Path) -> None:
    assert "[blank]\ncount = 2" in new_on_bench(shop, 6)
    (shop / "lamp.toml").unlink()
    (shop / "mill.toml").unlink()
    small = tuple("45,38" if word == "100,80" else word for word in ANSWERS)
    run("bench", "new", shop / "mill.toml", *small)
    done = run("new", shop / "lamp.dxf", "--drawn-from", "copper", "--bench", shop / "mill.toml")
    assert "[blank]\nsize = [50, 40]" in done.stdout


@pytest.mark.parametrize(
    ("text", "place", "words"),
    [
        (
            '[cutters.vee]\npreset = "vee-30-0.1"\nangle = "30"\n', "3:1",
            "[cutters.vee] angle must be a plain number in degrees",
        ),
        (
            '[cutters.bit]\nkind = "drill"\ndiameter = "0.8"\n[drilling]\ncutters = ["bit"]\n',
            "3:1", "[cutters.bit] diameter must be a plain number in mm",
        ),
        ("[cutters]\nbit = 3\n", "2:1", "[cutters.bit] must be a table headed [cutters.NAME]"),
        ('[blank]\nsize = ["a", 80]\n', "2:9", '[blank] size item 1 is "a"'),
        ("[machine]\ntravel = [1]\n", "2:1", "[machine] travel must be two plain numbers"),
        ('[cutters.vee]\npreset = "vee-31"\n', "2:1", "preset is no cutter preset"),
        ("[drilling]\nwhat = 1\n", "2:1", "[drilling] what is no known key"),
        ("[presets.cutters]\nown = 3\n", "2:1", "must be a table of keys, without a preset"),
        (
            '[presets.cutters.own]\npreset = "vee-30-0.1"\n', "1:18",
            "must be a table of keys, without a preset of its own",
        ),
        ("[board]\nx = 1\n", "1:2", "[board] is no table of a bench file"),
    ],
)  # fmt: skip
def test_a_new_job_takes_no_bench_with_a_value_that_no_key_takes(
    shop: Path, text: str, place: str, words: str
) -> None:
    with pytest.raises(Refusal) as refused:
        bench_tables(write(shop / "mill.toml", text))
    assert refused.value.exit_code == 2
    (finding,) = refused.value.findings
    assert f"mill.toml:{place}: " in finding.message
    assert words in finding.message


def test_what_a_bench_lacks_is_no_mistake_of_it(shop: Path) -> None:
    text = '[blank]\npreset = "fr2-1.6-35"\nmargin = 7\n[isolation]\ncutters = ["of-the-job"]\n'
    tables = bench_tables(write(shop / "mill.toml", text + DRAWINGS))
    assert (tables["blank"]["margin"], tables["blank"]["thickness"]) == (7, 1.6)
    assert tables["isolation"] == {"cutters": ["of-the-job"]}
    assert tables["drawings"]["drawn_from"] == "copper"


def test_a_person_may_leave_a_cutter_out(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    draw(shop / "lamp.dxf", fine)
    run("bench", "new", shop / "mill.toml", *ANSWERS)
    monkeypatch.setattr("millprep.cli.terminal.somebody_answers", lambda: True)
    words = ["new", shop / "lamp.dxf", "--drawn-from", "copper", "--bench", shop / "mill.toml"]
    for answer, added in (("y", True), ("n", False)):
        done = CliRunner().invoke(commands, [str(word) for word in words], input=f"{answer}\n")
        assert "drill-08. Add to this job [Y/n]" in done.stderr
        assert ("[cutters.drill-08]" in done.stdout) == added


DRAWINGS = """\
[drawings]
drawn_from = "copper"
layers = { copper = ["sheen"], outline = ["shore"], holes = ["wells"] }
"""
SHORT = 'bench = "mill.toml"\n[[board]]\ndrawing = "lamp.dxf"\n'


def test_a_second_board_needs_three_lines(shop: Path) -> None:
    write(shop / "mill.toml", BENCH + DRAWINGS)
    job = write(shop / "rail.toml", SHORT)
    (board,) = load(job).boards
    assert board.drawn_from == "copper"
    assert board.roles == load(write(shop / "whole.toml", JOB)).boards[0].roles
    done = run("prepare", job)
    assert done.exit_code == 0, done.output
    assert 'mill.toml. It says drawn_from = "copper" of lamp. [bench-used]' in done.stderr
    assert run("verify", shop / "rail").exit_code == 0


def test_what_a_board_states_counts_before_what_all_drawings_share(shop: Path) -> None:
    write(shop / "mill.toml", BENCH + DRAWINGS)
    own = 'drawn_from = "components"\noutline_box = [0.0, 0.0, 30.0, 20.0]\nlayers.holes = []\n'
    plan = load(write(shop / "rail.toml", SHORT + own))
    (board,) = plan.boards
    assert (board.drawn_from, board.outline_box) == ("components", (0.0, 0.0, 30.0, 20.0))
    assert (board.roles.copper, board.roles.outline, board.roles.holes) == (("sheen",), (), ())
    assert plan.sided == ()
    # files of their own have layers of their own
    files = SHORT.replace('"lamp.dxf"', '{ copper = "lamp.dxf", outline = "lamp.dxf", holes = [] }')
    own = 'layers = { copper = ["sheen"], outline = ["shore"] }\n'
    write(shop / "mill.toml", BENCH + DRAWINGS + "outline_margin = 1.0\n")
    assert load(write(shop / "rail.toml", files + own)).boards[0].roles.outline == ("shore",)


def test_the_side_that_a_bench_says_is_written_into_a_new_job(shop: Path) -> None:
    text = new_on_bench(shop, answers=(*ANSWERS, "--drawn-from", "components"), side=None)
    assert 'the bench says drawn_from = "components" of all drawings' in text
    assert load(shop / "lamp.toml").boards[0].drawn_from == "components"


@pytest.mark.parametrize(
    ("drawings", "message"),
    [
        (DRAWINGS.replace('"copper"', '"above"'), '[drawings] drawn_from must be "components" or'),
        (DRAWINGS + "count = 3\n", "[drawings] count is no key that all drawings may share"),
        ("drawings = 3\n", "[drawings] must be a table"),
        (DRAWINGS.replace("copper =", "coper ="), "[drawings] layers.coper is no known key"),
    ],
)
def test_a_mistake_in_what_drawings_share_is_reported_once(
    shop: Path, drawings: str, message: str
) -> None:
    bench = drawings + BENCH if drawings.startswith("drawings") else BENCH + drawings
    write(shop / "mill.toml", bench)
    two = SHORT + '[[board]]\nname = "b"\ndrawing = "lamp.dxf"\n'
    found = messages(write(shop / "rail.toml", two))
    assert len([m for m in found if m.startswith("mill.toml:") and message in m]) == 1


def test_a_job_of_its_own_has_no_table_of_all_drawings(shop: Path) -> None:
    write(shop / "mill.toml", BENCH)
    (message,) = messages(write(shop / "rail.toml", NAMED + DRAWINGS))
    assert "[drawings] is no known key" in message or "drawings is no known key" in message


def test_what_is_no_board_takes_nothing_from_the_bench(shop: Path) -> None:
    write(shop / "mill.toml", BENCH + DRAWINGS)
    assert messages(write(shop / "rail.toml", 'bench = "mill.toml"\nboard = [3]\n')) == [
        "rail.toml:2:10: [[board]] 1 is 3; board must be tables headed [[board]]"
    ]


def test_a_set_keeps_no_input_that_changed_while_it_was_made(tmp_path: Path) -> None:
    file = write(tmp_path / "lamp.dxf", "as read")
    sha256 = hashlib.sha256(b"as read").hexdigest()
    inputs = [InputFile("lamp.dxf", sha256, "named", file), InputFile("lost.dxf", sha256)]
    (tmp_path / "set").mkdir()
    keep(inputs, tmp_path / "set")
    # one of unknown source is left out
    assert sorted(path.read_bytes() for path in (tmp_path / "set" / "job").glob("*.dxf")) == [
        b"as read"
    ]
    (tmp_path / "other").mkdir()
    write(file, "as it is now")
    with pytest.raises(Refusal) as refused:
        keep(inputs, tmp_path / "other")
    (finding,) = refused.value.findings
    assert (finding.code, refused.value.exit_code) == ("input-changed", 2)
    assert finding.message == ("lamp.dxf changed while the set was made. Make the set again.")
