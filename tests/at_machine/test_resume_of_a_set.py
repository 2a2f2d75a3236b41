"""A resumption as a person runs it, on a board cut in two passes and on one with two copies."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest

from millprep.at_machine.resumed_program import resumed_program
from millprep.geometry.pose import Pose
from millprep.model.program import Trail
from millprep.report.report_file import seal, to_text
from millprep.report.report_model import Report
from millprep.verify import reader
from tests.helpers import bent, small_job
from tests.helpers.small_job import changed, run
from tests.helpers.strip_set import made, program, turned

__all__ = ["made", "turned"]
ISOLATE = "pass-2/.*isolate"
TWO = changed(
    "size = [60.0, 50.0]",
    "size = [110.0, 50.0]",
    changed('drawn_from = "copper"', 'drawn_from = "copper"\ncount = 2'),
)


def report(folder: Path) -> dict[str, Any]:
    found: dict[str, Any] = json.loads((folder / "report.json").read_text("utf-8"))
    return found


def resume(made: Path, out: Path, *more: str, set_: str = "set") -> Any:
    return run("resume", made / set_, *more, "--out", out)


@pytest.fixture(scope="module")
def isolated(made: Path) -> str:
    return program(made / "set", ISOLATE)


def test_a_small_set_that_says_what_it_is(made: Path, isolated: str, tmp_path: Path) -> None:
    done = resume(made, tmp_path / "new", isolated, "--after", "3")
    assert done.exit_code == 0, done.output
    new, old = report(tmp_path / "new"), report(made / "set")
    jsonschema.validate(new, Report.model_json_schema())
    assert new["derived_from"] == old["set"] != new["set"]
    (result,) = new["resumed"]
    assert (result["of"], result["asked"], result["point"]) == (isolated, "--after 3", 3)
    assert result["file"] == isolated.replace(".ngc", "-resumed.ngc")
    files = {f.relative_to(tmp_path / "new").as_posix() for f in (tmp_path / "new").rglob("*.*")}
    assert {result["file"], "toolpaths.csv", "report.json", "sheet.html"} <= files
    assert "buzz-out.csv" not in files
    text = (tmp_path / "new" / result["file"]).read_text("ascii")
    assert f"(resumes {isolated} of set {old['set']})" in text
    assert new["set"] in text.splitlines()[0]
    lines = text.splitlines()
    first = next(n for n, line in enumerate(lines) if line.startswith("G0"))
    head = [line for line in lines[first:] if line[0] == "G" or "M3" in line][:11]
    # up, over the touch point, down for a look, up, the spindle and its dwell
    opening = ["G0", "G0", "G1", "G1", "G0", "S12000.0000", "G4"]
    # over the place, down, fast to near the copper, then at the plunge feed
    assert [line.split()[0] for line in head] == [*opening, "G0", "G0", "G1", "G1"]
    assert head[8] == "G0 Z0.5200"
    assert head[9] == "G1 Z0.1200 F400.0000"
    assert re.fullmatch(r"G1 Z-[0-9.]+ F100\.0000", head[10])


def test_the_sheet_says_what_to_do(made: Path, isolated: str, tmp_path: Path) -> None:
    done = resume(made, tmp_path / "new", isolated, "--after", "3")
    assert done.exit_code == 0
    page = (tmp_path / "new" / "sheet.html").read_text("utf-8")
    for words in ("Fit a new cutter vee", "zero Z", "must be unchanged",
                  "repeats that cut", "Then continue with set", "after a broken cutter",
                  "do not set it again"):  # fmt: skip
        assert words in page, words
    # nothing tells to lay the blank again
    assert "lift it off" not in page


def test_the_same_again_is_the_same_to_the_byte(made: Path, isolated: str, tmp_path: Path) -> None:
    for name in ("one", "two"):
        assert resume(made, tmp_path / name, isolated, "--after", "2").exit_code == 0
    for file in (tmp_path / "one").rglob("*.*"):
        other = tmp_path / "two" / file.relative_to(tmp_path / "one")
        assert file.is_dir() or file.read_bytes() == other.read_bytes()


def test_a_resumed_set_may_break_again(made: Path, isolated: str, tmp_path: Path) -> None:
    assert resume(made, tmp_path / "one", isolated, "--after", "3").exit_code == 0
    again = run("resume", tmp_path / "one", "isolate", "--after", "2", "--job", made / "job.toml",
                "--out", tmp_path / "two")  # fmt: skip
    assert again.exit_code == 0, again.output
    first, second = report(tmp_path / "one"), report(tmp_path / "two")
    assert second["derived_from"] == first["set"]
    # it counts anew from where it began
    assert second["resumed"][0]["points"] == first["resumed"][0]["cuts"]
    assert second["resumed"][0]["cuts"] == first["resumed"][0]["cuts"] - 1


def test_the_last_depth_step_of_an_open_profile_is_no_deeper_than_it_was(
    made: Path, tmp_path: Path
) -> None:
    """The steps above it were cut by the program that it takes up."""
    profile = program(made / "set", "pass-2/.*profile")
    text = (made / "set" / profile).read_text("ascii")
    cuts = text.split("(restart point ")[1:]
    last = next(n for n, cut in enumerate(cuts, 1) if "Z-1.9" in cut)
    assert last > 1
    done = resume(made, tmp_path / "new", profile, "--after", str(last))
    assert done.exit_code == 0, done.output
    verified = run("verify", tmp_path / "new")
    assert verified.exit_code == 0, verified.output


def test_a_refitted_set_goes_on_where_it_lies(
    made: Path, turned: Path, isolated: str, tmp_path: Path
) -> None:
    done = resume(made, tmp_path / "new", isolated, "--after", "3", set_="turned")
    assert done.exit_code == 0, done.output
    old = (turned / isolated).read_text("ascii").splitlines()
    new = (tmp_path / "new" / report(tmp_path / "new")["resumed"][0]["file"]).read_text("ascii")
    rest = [line for line in old[old.index("(restart point 3)") :] if line.startswith("G")]
    # all but the feed, which is said anew
    assert [one for one in new.splitlines() if one.startswith("G")][-len(rest) :][2:] == rest[2:]


def test_by_place_within_a_loop(made: Path, isolated: str, tmp_path: Path) -> None:
    text = (made / "set" / isolated).read_text("ascii").splitlines()
    at = text.index("(restart point 3)")
    x, y = 0.0, 0.0
    for line in text[: at + 8]:
        for word in line.split() if line.startswith("G") else ():
            x = float(word[1:]) if word[0] == "X" else x
            y = float(word[1:]) if word[0] == "Y" else y
    done = resume(made, tmp_path / "new", isolated, "--after", "3", "--near", f"{x},{y}",
                  "--overlap", "1.5")  # fmt: skip
    assert done.exit_code == 0, done.output
    (loaded,) = report(tmp_path / "new")["resumed"]
    assert loaded["point"] == 3
    assert loaded["overlap"] is None or 1.45 <= loaded["overlap"] <= 1.6


@pytest.mark.parametrize("hole", ["1", "r1"])
def test_by_hole(made: Path, tmp_path: Path, hole: str) -> None:
    done = resume(made, tmp_path / "new", program(made / "set", "pass-1/.*register"),
                  "--hole", hole)  # fmt: skip
    assert done.exit_code == 0, done.output
    (loaded,) = report(tmp_path / "new")["resumed"]
    if hole == "1":
        assert loaded["point"] == 1
        return
    passes = report(made / "set")["passes"]
    (r1,) = (one for p in passes for one in p["registration"] if one["id"] == hole)
    pose = Pose(*passes[0]["blank_to_machine"])
    # a helix begins beside its centre
    off = np.subtract(loaded["entry"][:2], pose.point(r1["blank"]))
    assert np.hypot(*off) < r1["diameter"] / 2


@pytest.mark.parametrize(
    ("what", "hole", "words"),
    [
        ("drill", "r1", "makes holes 1 to 4 in its order, not r1. Another program of the pass "
         "makes r1. [resume-no-such-hole]"),
        ("drill", "r9", "makes holes 1 to 4 in its order, not r9. [resume-no-such-hole]"),
        # the profile that it cuts as well is no hole
        ("register-and-profile", "4", "makes holes 1 to 3 in its order, and r1, r2, r3 by name, "
         "not 4. For the paths that it cuts after them give --after or --near. "
         "[resume-no-such-hole]"),
    ],
)  # fmt: skip
def test_only_holes_that_the_program_makes_are_named(
    made: Path, tmp_path: Path, what: str, hole: str, words: str
) -> None:
    done = resume(made, tmp_path / "new", program(made / "set", f"pass-1/.*{what}"), "--hole", hole)
    assert done.exit_code == 2
    assert words in done.stderr
    assert not (tmp_path / "new").exists()


def test_a_resumed_program_that_is_not_the_rest_of_the_old_one_is_refused(
    made: Path, isolated: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As if it cut two hundredths of a millimetre deeper."""

    def off(trail: Trail, *given: Any, **more: Any) -> Any:
        new, resumption, entry = resumed_program(trail, *given, **more)  # type: ignore[misc]
        moves = (m._replace(z=m.z - 0.02) if m.z < 0 else m for m in new.moves)
        deeper = replace(new, moves=tuple(moves), depth=new.depth + 0.02)
        return deeper, resumption, entry

    monkeypatch.setattr("millprep.at_machine.resume.resumed_program", off)
    done = resume(made, tmp_path / "new", isolated, "--after", "3")
    assert done.exit_code == 1
    assert "[resume-differs]" in done.stderr
    assert not (tmp_path / "new").exists()


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("two")
    job = small_job.put(folder, TWO)
    done = run("prepare", job, "--out", folder / "set")
    assert done.exit_code == 0, done.output
    return folder


def test_a_board_s_share_of_every_program(two: Path, tmp_path: Path) -> None:
    done = resume(two, tmp_path / "new", "--board", "lamp:2")
    assert done.exit_code == 0, done.output
    new, old = report(tmp_path / "new"), report(two / "set")
    works = [p["work"] for p in old["passes"][0]["programs"] if p["work"] != "dry-run"]
    assert [p["work"] for p in new["passes"][0]["programs"]] == works
    for one in new["resumed"]:
        assert (one["board"], one["copy"]) == ("lamp", 2)
        # two alike share all between them
        assert one["cuts"] * 2 == one["points"]
    both = [resume(two, tmp_path / f"n{n}", "isolate", "--board", f"lamp:{n}") for n in (1, 2)]
    assert [b.exit_code for b in both] == [0, 0]


def test_where_the_wished_copy_is_finished_nothing_is_left(two: Path, tmp_path: Path) -> None:
    # the last of six holes is on one copy only
    done = {
        n: resume(two, tmp_path / str(n), "drill", "--after", "6", "--board", f"lamp:{n}")
        for n in (1, 2)
    }
    (finished,) = (n for n in done if done[n].exit_code == 2)
    words = f"cuts nothing on lamp copy {finished} after that place. [resume-nothing-left]"
    assert words in done[finished].stderr
    assert not (tmp_path / str(finished)).exists()
    left = report(tmp_path / str(3 - finished))["resumed"]
    assert [(row["copy"], row["cuts"]) for row in left] == [(3 - finished, 1)]


MISTAKES = [
    (("isolate", "--after", "0"), "restart points 1 to"),
    (("isolate", "--after", "9999"), ", not 9999"),
    (("isolate", "--near", "-500,3"), "cuts nothing near"),
    (("isolate", "--hole", "1"), "makes no holes"),
    (("drill", "--hole", "99"), "makes holes 1 to 6"),
    (("drill", "--hole", "r7"), ", not r7"),
    (("--after", "3"), "Name the program"),
    (("nothing", "--after", "3"), "is none of"),
    (("pass-1", "--after", "3"), "fits blank-1/pass-1"),
    (("dry-run", "--after", "1"), "Run it again from its start"),
    (("--board", "lamp:7"), "It has lamp:1, lamp:2"),
]


@pytest.mark.parametrize(("words", "told"), MISTAKES)
def test_mistakes_are_reported(
    two: Path, tmp_path: Path, words: tuple[str, ...], told: str
) -> None:
    done = resume(two, tmp_path / "new", *words)
    assert done.exit_code == 2, done.output
    assert told in done.stderr
    assert not (tmp_path / "new").exists()


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("isolate",), "say where to go on"),
        (("isolate", "--hole", "1", "--after", "2"), "do not go with it"),
        (("isolate", "--after", "2", "--overlap", "3"), "measured from the place"),
        (("isolate", "--near", "12"), "is no X,Y"),
        (("isolate", "--near", "nan,3"), "is no X,Y"),
        (("--board", "lamp:x"), "is no BOARD"),
        (("isolate", "--near", "1,2", "--overlap", "0"), "not in the range"),
    ],
)
def test_calls_that_make_no_sense(
    two: Path, tmp_path: Path, words: tuple[str, ...], told: str
) -> None:
    done = resume(two, tmp_path / "new", *words)
    assert done.exit_code == 2
    assert told in done.stderr


def test_the_set_itself_is_not_replaced(two: Path) -> None:
    done = resume(two, two / "set", "isolate", "--after", "2")
    assert done.exit_code == 2
    assert "Name another folder" in done.stderr


def test_a_program_that_was_changed_is_not_taken_up(tmp_path: Path) -> None:
    job = small_job.put(tmp_path)
    assert run("prepare", job, "--out", tmp_path / "set").exit_code == 0
    file = tmp_path / "set" / program(tmp_path / "set", "isolate")
    text = file.read_text("ascii")
    file.write_text(text.replace("Z-0.0800", "Z-0.0900"), "ascii")
    done = run("resume", tmp_path / "set", "isolate", "--after", "1", "--out", tmp_path / "new")
    assert done.exit_code == 1
    assert "was edited after it was written" in done.stderr
    assert not (tmp_path / "new").exists()


def test_a_report_that_calls_a_set_resumed_is_held_against_its_programs(
    two: Path, tmp_path: Path
) -> None:
    out = tmp_path / "new"
    assert resume(two, out, "isolate", "--after", "2").exit_code == 0
    assert run("verify", out).exit_code == 0
    file = out / "report.json"
    true = json.loads(file.read_text("utf-8"))

    def said(row: dict[str, Any]) -> str:
        row["seal"] = seal(row)
        file.write_text(to_text(row), "utf-8")
        done = run("verify", out)
        assert done.exit_code == 1
        return str(done.stderr)

    assert "not for every program which one" in said({**true, "derived_from": None})
    whole = report(two / "set")["set"]
    assert "and its id is that of a whole set" in said({**true, "set": whole})
    (name,) = (resumed["file"] for resumed in true["resumed"])
    plain = name.replace("-resumed", "")
    (out / name).rename(out / plain)
    renamed = json.loads(json.dumps(true).replace(name, plain))
    assert "and its programs are not named so" in said(renamed)


def test_a_resumed_program_that_cannot_be_read_is_said_by_verify(two: Path, tmp_path: Path) -> None:
    out = tmp_path / "new"
    assert resume(two, out, "isolate", "--after", "2").exit_code == 0
    (file,) = out.rglob("*-resumed.ngc")
    file.write_text(file.read_text("ascii").replace("\nG1 X", "\nG7 X", 1), "ascii")
    done = run("verify", out)
    assert done.exit_code == 1
    assert "[set-file-changed]" in done.stderr
    assert "[rs274-error]" in done.stderr
    assert f"{file.name} line " in done.stderr


def test_json(two: Path, tmp_path: Path) -> None:
    good = resume(two, tmp_path / "new", "isolate", "--after", "2", "--json")
    assert json.loads(good.stdout)["resumed"][0]["point"] == 2
    bad = resume(two, tmp_path / "other", "isolate", "--after", "99", "--json")
    assert json.loads(bad.stdout)["findings"][0]["code"] == "resume-no-such-point"


def test_a_levelled_set_goes_on_along_its_surface(tmp_path: Path) -> None:
    table = bent.probed(bent.prepared(tmp_path), 1, tmp_path)
    job = ("--job", tmp_path / "job.toml")
    done = run("level", tmp_path / "set", table, "--pass", "1", "--out", tmp_path / "level", *job)
    assert done.exit_code == 0, done.output
    name = program(tmp_path / "level", "pass-1/.*isolate")
    # the middle of a long cut: what a bend splits is entered like all else
    trace = reader.read((tmp_path / "level" / name).read_text("ascii"), file=name)
    feeds = [m for m in trace.moves if m.kind != "rapid" and m.start[:2] != m.end[:2]]
    x, y, _ = feeds[len(feeds) // 2].end
    done = run("resume", tmp_path / "level", name, "--near", f"{x},{y}", "--out",
               tmp_path / "new", *job)  # fmt: skip
    assert done.exit_code == 0, done.output
    new = report(tmp_path / "new")
    assert new["derived_from"] == report(tmp_path / "level")["set"]
    rest = reader.read((tmp_path / "new" / new["resumed"][0]["file"]).read_text(), file="").moves
    heights = {m.end[2] for m in rest if m.kind != "rapid"}
    assert len(heights) > 20
    assert {m.end for m in rest[8:]} <= {m.end for m in trace.moves}
    again = run("verify", tmp_path / "new", *job)
    assert again.exit_code == 0, again.output
    outcome = run("level", tmp_path / "new", table, "--pass", "1", "--out", tmp_path / "x", *job)
    assert "only resumes after a broken cutter" in outcome.stderr
