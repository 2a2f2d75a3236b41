"""A finished set is proved again, and a set that is not as it was written is found out."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Literal

import pytest

from fixtures.wide_boards import wide_board, write_job
from millprep import job
from millprep.model.dialect import Dialect
from millprep.model.finding import Finding, Refusal
from millprep.report import report_file
from millprep.report.report_file import seal, to_text
from millprep.workflow.prepare import prepare
from millprep.workflow.verify import Verified, _check_ids, _unreported, verify
from tests.conftest import EXAMPLES
from tests.helpers import small_job
from tests.helpers.sets import ISOLATE


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small set beside its job; copy it before you change it."""
    folder = tmp_path_factory.mktemp("made")
    prepare(small_job.put(folder), folder / "out")
    return folder


@pytest.fixture
def out(made: Path, tmp_path: Path) -> Path:
    """The set in a folder of its own, its job beside it."""
    shutil.copytree(made, tmp_path / "copy")
    return tmp_path / "copy" / "out"


def codes(done: Verified) -> list[tuple[str, str | None]]:
    return [(f.code, f.file) for f in done.findings if f.severity == "stop"]


def test_an_untouched_set_is_good(out: Path) -> None:
    done = verify(out)
    assert done.good
    assert done.findings == ()
    assert [(p.pieces, p.shorts, p.opens) for p in done.proofs] == [(2, 0, 0)]
    assert done.files == len([p for p in out.rglob("*") if p.is_file()]) - 1


def test_the_examples_are_good(example_set: Path) -> None:
    done = verify(example_set, EXAMPLES / f"{example_set.name}.toml")
    assert done.good
    assert {p.shorts + p.opens for p in done.proofs} == {0}


def test_a_set_with_ticks_at_its_joins_is_good(tmp_path: Path) -> None:
    job = write_job(
        wide_board(1, (44.0, 80.0)), tmp_path, travel=(110, 70), size=(84, 120), gap=0.2
    )
    words = "[registration]\nlocate_error = 0.06"
    job.write_text(small_job.changed("[registration]", words, job.read_text("utf-8")), "utf-8")
    made = prepare(job, tmp_path / "out")
    assert len([join for join in made.joins if join.tick]) > 5
    done = verify(tmp_path / "out", job)
    assert done.good, codes(done)
    assert codes(done) == []


def test_every_file_that_is_edited_is_named(out: Path) -> None:
    files = sorted(p for p in out.rglob("*") if p.is_file() and p.suffix != ".ngc")
    assert len(files) > 8
    for path in files:
        before = path.read_bytes()
        path.write_bytes(before + b"\n" if path.name != "report.json" else before)
        if path.name == "report.json":
            path.write_bytes(before.replace(b'"lamp test piece"', b'"lamp test peace"'))
        name = path.relative_to(out).as_posix()
        if name.startswith("job/"):
            # nothing can be proved by a job that may be another
            with pytest.raises(Refusal) as refused:
                verify(out)
            assert [(f.code, f.file) for f in refused.value.findings] == [
                ("set-file-changed", name)
            ]
        else:
            assert codes(verify(out)) == [("set-file-changed", name)]
        path.write_bytes(before)


def cut_short(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-40])


def take_away(path: Path) -> None:
    path.unlink()


def one_more(path: Path) -> None:
    path.with_name("99-isolate-vee.ngc").write_bytes(path.read_bytes())


@pytest.mark.parametrize(
    ("harm", "code"),
    [
        (cut_short, "set-file-changed"),
        (take_away, "set-file-missing"),
        (one_more, "set-file-foreign"),
    ],
)
def test_a_program_cut_short_missing_or_foreign(
    out: Path, harm: Callable[[Path], None], code: str
) -> None:
    harm(out / ISOLATE)
    done = verify(out)
    assert code in {found for found, _ in codes(done)}
    assert not done.good


def test_litter_of_file_managers_is_no_part_and_no_fault(out: Path) -> None:
    (out / ".DS_Store").write_bytes(b"x")
    assert verify(out).good


def resealed(out: Path) -> None:
    """Give the report the hashes of the files as they are: what a careful forger would do."""
    file = out / "report.json"
    row = json.loads(file.read_text("utf-8"))
    for one in row["files"]:
        one["sha256"] = hashlib.sha256((out / one["file"]).read_bytes()).hexdigest()
    row["seal"] = seal(row)
    file.write_text(to_text(row), "utf-8")


@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        (r"G1 Z-0\.0[0-9]+", "G1 Z-0.03", {"copper-short", "proof-differs"}),
        (r"S[0-9.]+", "S0.", {"spindle-off"}),
        (r"G1 Z-0\.0[0-9]+", "G1 Z-9.", {"too-deep", "outside-travel"}),
        (r"G21", "G20", {"off-blank", "outside-travel"}),
    ],
)  # fmt: skip
def test_harm_is_found_without_hashes(out: Path, old: str, new: str, found: set[str]) -> None:
    path = out / ISOLATE
    text = path.read_text("ascii")
    assert re.search(old, text)
    path.write_text(re.sub(old, new, text), "ascii")
    done = verify(out, hashes=False)
    assert not done.good
    assert found & {code for code, _ in codes(done)}, codes(done)


def test_a_forged_program_parts_from_the_table(out: Path) -> None:
    path = out / ISOLATE
    text = path.read_text("ascii")
    path.write_text(re.sub(r"F([0-9])", r"F1\g<1>", text, count=1), "ascii")
    resealed(out)
    found = codes(verify(out))
    assert ("file-differs", ISOLATE) in found
    assert "set-file-changed" not in {code for code, _ in found}


def test_a_finding_of_a_program_names_file_and_line(out: Path) -> None:
    path = out / ISOLATE
    lines = path.read_text("ascii").split("\n")
    low = next(i for i, line in enumerate(lines) if line.startswith("G1 Z-"))
    lines[low] = lines[low].replace("G1", "G0", 1)
    path.write_text("\n".join(lines), "ascii")
    plunge = [f for f in verify(out, hashes=False).findings if f.code == "rapid-plunge"]
    assert [(f.file, f.line) for f in plunge] == [(ISOLATE, low + 1)]


def test_all_programs_that_cannot_be_read_are_reported(out: Path) -> None:
    for path in out.rglob("*.ngc"):
        path.write_bytes(b"G1 X\xe4\n")
    done = verify(out, hashes=False)
    assert len({file for code, file in codes(done) if code == "file-damaged"}) == 4
    assert not done.good


def test_a_damaged_table_is_reported(out: Path) -> None:
    table = out / "toolpaths.csv"
    table.write_bytes(table.read_bytes().replace(b",feed,", b",feed,,", 3))
    assert ("file-damaged", "toolpaths.csv") in codes(verify(out))


def test_a_mirrored_board_is_found_by_the_simulation(out: Path) -> None:
    """The pose that the report tells is turned about: the programs then cut another board."""
    file = out / "report.json"
    row = json.loads(file.read_text("utf-8"))
    (board,) = row["boards"]
    a, b, c, d, e, f = board["drawing_to_blank"]
    board["drawing_to_blank"] = [a, b, c, d, -e, f + e * 20.0]
    file.write_text(to_text(row), "utf-8")
    done = verify(out, hashes=False)
    assert not done.good
    assert {"copper-short", "copper-open", "hole-missing"} & {code for code, _ in codes(done)}


@pytest.mark.parametrize("name", ["job.toml", "lamp.dxf"])
def test_another_job_or_drawing_is_refused(out: Path, name: str) -> None:
    path = out.parent / name
    path.write_bytes(path.read_bytes() + b"\n")
    with pytest.raises(Refusal) as refused:
        verify(out, out.parent / "job.toml")
    assert refused.value.exit_code == 1
    assert [f.code for f in refused.value.findings] == ["input-changed"]


def test_a_set_of_another_version_is_proved_with_a_warning(out: Path) -> None:
    file = out / "report.json"
    row = json.loads(file.read_text("utf-8"))
    row["set"] = "0123456789ab"
    file.write_text(to_text(row), "utf-8")
    resealed(out)
    done = verify(out)
    assert "made-by-another-version" in {f.code for f in done.findings if f.severity == "warn"}


def test_a_report_of_a_cutter_that_the_job_lacks_is_refused(out: Path) -> None:
    file = out / "report.json"
    row = json.loads(file.read_text("utf-8"))
    row["passes"][0]["programs"][0]["cutter"] = "saw"
    file.write_text(to_text(row), "utf-8")
    resealed(out)
    with pytest.raises(Refusal) as refused:
        verify(out)
    assert [f.code for f in refused.value.findings if f.severity == "stop"] == ["set-unlike-job"]
    assert "saw" in str(refused.value)
    done = small_job.run("resume", out, "isolate", "--after", "1", "--out", out.parent / "new")
    assert done.exit_code == 1
    assert "report.json does not fit its job" in done.stderr
    assert not (out.parent / "new").exists()
    heights = out.parent / "map.csv"
    heights.write_text("x,y,z\n0,0,0\n", "ascii")
    for words in (("probe", out), ("level", out, heights)):
        done = small_job.run(*words, "--pass", "1", "--out", out.parent / "new")
        assert done.exit_code == 1
        assert "report.json does not fit its job (the job has no cutter saw)." in done.stderr
        assert not (out.parent / "new").exists()


def test_a_report_of_a_board_that_the_job_lacks_is_refused(out: Path) -> None:
    file = out / "report.json"
    row = json.loads(file.read_text("utf-8"))
    row["boards"][0]["name"] = "torch"
    file.write_text(to_text(row), "utf-8")
    resealed(out)
    words = "report.json does not fit its job (the job has no board torch). Prepare the set again."
    with pytest.raises(Refusal) as refused:
        verify(out)
    assert refused.value.findings[0].message == words
    done = small_job.run("legend", out, "--out", out.parent / "new")
    assert done.exit_code == 1
    assert words in done.stderr
    assert not (out.parent / "new").exists()


def test_a_certificate_that_the_programs_do_not_bear_is_found(out: Path) -> None:
    file = out / "report.json"
    row = json.loads(file.read_text("utf-8"))
    assert row["certificate"] is None
    place = {"at": [1.0, 1.0], "blank": 1, "board": "lamp", "copy": 1, "piece": "c1"}
    limit = {"mismatch": 0.1, "at_least": False, "limited_by": place}
    gap = {**limit, "asked": 0.3}
    row["certificate"] = {**limit, "turn": 0.1, "short": limit, "open": limit, "gap": gap}
    file.write_text(to_text(row), "utf-8")
    resealed(out)
    (finding,) = verify(out).findings
    assert (finding.code, finding.severity) == ("proof-differs", "stop")
    assert "the report has a certificate, the programs say otherwise" in finding.message


@pytest.mark.parametrize(("count", "severity"), [(3, "note"), (4, "stop")])
def test_of_a_kind_that_the_report_only_counts_there_are_no_more(
    out: Path, count: int, severity: str
) -> None:
    file = out / "report.json"
    row = json.loads(file.read_text("utf-8"))
    sliver = {"code": "copper-sliver", "message": "A sliver. And 2 more."}
    row["findings"].append(row["findings"][0] | sliver)
    file.write_text(to_text(row), "utf-8")
    proved = [
        Finding(code="copper-sliver", severity="note", message=f"sliver {n}", board="lamp", copy=1)
        for n in range(count)
    ]
    done = list(_unreported(report_file.read(out), proved))
    assert {finding.severity for finding in done} == {severity}
    more = " The set was made without this: prepare it again." if severity == "stop" else ""
    assert [finding.message for finding in done] == [f"sliver {n}{more}" for n in range(count)]


@pytest.mark.parametrize(("comments", "files"), [("brackets", [ISOLATE]), ("none", [])])
def test_a_program_of_another_set_is_found_where_programs_name_their_set(
    out: Path, comments: Literal["brackets", "none"], files: list[str]
) -> None:
    report, plan = report_file.read(out), job.load(out.parent / "job.toml")
    text = (out / ISOLATE).read_text("ascii")
    (out / ISOLATE).write_text(text.replace(report.set, "0123456789ab"), "ascii")
    machine = replace(plan.machine, dialect=Dialect(comments=comments))
    faults = list(_check_ids(report, out, replace(plan, machine=machine), set()))
    assert [fault.file for fault in faults] == files


@pytest.mark.parametrize("name", ["../job.toml", "previews/../../job.toml", "/etc/hostname"])
def test_a_file_outside_of_the_set_is_no_part_of_it(out: Path, name: str) -> None:
    file = out / "report.json"
    row = json.loads(file.read_text("utf-8"))
    row["files"].append({"file": name, "sha256": "0" * 64})
    row["seal"] = seal(row)
    file.write_text(to_text(row), "utf-8")
    assert codes(verify(out)) == [("set-file-foreign", name)]


def test_a_set_without_hashes_is_refused(out: Path) -> None:
    file = out / "report.json"
    row = json.loads(file.read_text("utf-8"))
    row["files"] = None
    file.write_text(to_text(row), "utf-8")
    assert codes(verify(out)) == [("set-without-hashes", "report.json")]


def test_the_command(out: Path) -> None:
    good = small_job.run("verify", out, "--json")
    assert good.exit_code == 0
    report = json.loads(good.stdout)
    assert report["good"]
    assert [b["shorts"] for b in report["boards"]] == [0]
    (out / "sheet.html").unlink()
    bad = small_job.run("verify", out)
    assert bad.exit_code == 1
    assert "sheet.html is missing" in bad.stderr
    assert json.loads(small_job.run("verify", out, "--json").stdout)["good"] is False
    assert small_job.run("verify", out.parent).exit_code == 2
