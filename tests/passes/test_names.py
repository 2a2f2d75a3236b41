"""Names engraved outside the boards read rightly from the copper side; forged ones are refused."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pytest
import shapely

from millprep.geometry.letters import ALPHABET, HIGH
from millprep.geometry.letters import STEP as NEXT
from millprep.model.blank import Placement
from millprep.model.derivation import Derivation
from millprep.model.set_of_programs import CutSet
from millprep.passes import names
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.verify import reader
from millprep.workflow.laying import Choice
from millprep.workflow.prepare import prepare
from millprep.workflow.verify import verify
from tests.helpers import small_job
from tests.helpers.forged import Forged, refused_for, strokes
from tests.helpers.small_job import changed
from tests.helpers.workshop import placed

JOB = changed(
    'name = "lamp test piece"',
    'name = "lamp test piece"\nengrave_names = true',
    changed(
        'drawn_from = "copper"',
        'drawn_from = "components"\ncount = 2',
        changed("size = [60.0, 50.0]", "size = [100.0, 50.0]"),
    ),
)


class Made(NamedTuple):
    """A job and the set made of it."""

    job: Path
    folder: Path
    cut_set: CutSet

    @property
    def report(self) -> Report:
        return report_file.read(self.folder)


@pytest.fixture(scope="module")
def named(tmp_path_factory: pytest.TempPathFactory) -> Made:
    """Two copies of a board that is drawn from the component side, with their names."""
    folder = tmp_path_factory.mktemp("named")
    job = small_job.put(folder, JOB)
    return Made(job, folder / "set", prepare(job, folder / "set"))


def texts(report: Report) -> dict[str, Any]:
    return {text.text: text for row in report.passes for text in row.texts}


def engraved(made: Made) -> list[shapely.LineString]:
    """Straight cuts outside the boards as the program has them, blank frame."""
    (mill_pass,) = made.report.milling_passes()
    (file,) = (f for f in made.report.program_files if "isolate" in f)
    trace = reader.read((made.folder / file).read_text("ascii"), file=file)
    boards = shapely.union_all(
        [c.placement.pose.shape(c.placement.board.outline).buffer(1) for c in made.cut_set.copies]
    )
    back = mill_pass.pose.inverse()
    lines = [
        shapely.LineString([back.point(m.start[:2]), back.point(m.end[:2])])
        for m in trace.moves
        if max(m.start[2], m.end[2]) < 0 and m.start[:2] != m.end[:2]
    ]
    return [line for line in lines if not line.intersects(boards)]


def read(text: Any, lines: list[shapely.LineString]) -> str:
    """What a person reads at the place of a text, letter by letter."""
    scale, read_ = text.height / HIGH, ""
    for n in range(len(text.text)):
        corner = np.array([n * NEXT * scale, 0.0])
        local = []
        for line in lines:
            xy = shapely.get_coordinates(line) - np.array(text.at)
            # a text that reads upwards is turned back to the right
            xy = xy if text.turn == 0 else np.column_stack((xy[:, 1], -xy[:, 0]))
            local.append((xy - corner) / scale)
        inside = [xy for xy in local if ((xy > -0.1) & (xy < (2.1, 3.1))).all()]
        drawn = shapely.union_all([shapely.LineString(xy) for xy in inside])
        fits = {
            letter: shapely.hausdorff_distance(drawn, shapely.MultiLineString(shape), densify=0.1)
            for letter, shape in ALPHABET.items()
            if shape
        }
        read_ += min(fits, key=lambda letter: fits[letter]) if inside else " "
    return read_


def test_every_copy_is_named_and_the_set_too(named: Made) -> None:
    assert set(texts(named.report)) == {"LAMP 1", "LAMP 2", f"SET {named.cut_set.id.upper()}"}
    assert named.report.engraved_id == named.cut_set.id
    assert "no-room-for-name" not in {f.code for f in named.cut_set.findings}


def test_the_engraved_words_read_from_the_copper_side_as_the_report_has_them(named: Made) -> None:
    lines = engraved(named)
    assert {read(text, lines) for text in texts(named.report).values()} == set(texts(named.report))


def test_every_name_is_nearest_to_its_own_copy(named: Made) -> None:
    boards = {
        (c.placement.board.name, c.placement.copy): c.placement.pose.shape(
            c.placement.board.outline
        )
        for c in named.cut_set.copies
    }
    for text in texts(named.report).values():
        if text.board is not None:
            away = {key: shape.distance(shapely.Point(text.at)) for key, shape in boards.items()}
            assert min(away, key=lambda key: away[key]) == (text.board, text.copy_number)
            assert away[text.board, text.copy_number] <= names.NEAR


def test_names_cost_the_time_that_is_stated(named: Made, tmp_path: Path) -> None:
    without = prepare(
        small_job.put(tmp_path, changed("\nengrave_names = true", "", JOB)), tmp_path / "set"
    )
    more = sum(
        now.figures.seconds - then.figures.seconds
        for now, then in zip(named.cut_set.programs, without.programs, strict=True)
        if now.figures is not None and then.figures is not None
    )
    stated = sum(text.seconds for text in texts(named.report).values())
    # each text is timed from the touch point and back to it, and the dry run goes further
    assert more == pytest.approx(stated, rel=0.2)
    (row,) = report_file.read(tmp_path / "set").passes
    assert row.texts == ()
    # nothing else differs: isolation first, then the names
    then, now = ({p.work: p.moves for p in s.programs} for s in (without, named.cut_set))
    assert list(then) == list(now)
    assert now["isolate"][: len(then["isolate"]) - 2] == then["isolate"][:-2]


def test_a_copy_that_is_skipped_is_not_named(named: Made, tmp_path: Path) -> None:
    made = prepare(named.job, tmp_path / "set", choice=Choice(skip=(("lamp", 2),)))
    now, before = texts(report_file.read(tmp_path / "set")), texts(named.report)
    assert set(now) == {"LAMP 1", f"SET {made.id.upper()}"}
    assert now["LAMP 1"].at == before["LAMP 1"].at
    assert all(f.severity != "stop" for f in verify(tmp_path / "set").findings)


def test_readings_at_the_machine_change_no_engraved_id(named: Made, tmp_path: Path) -> None:
    """The blank may bear the id of the set that was cut first."""
    first = named.cut_set.id
    derivation = Derivation(first, named.report.engraved_id, "level blank 1 pass 1", (), {})
    later = prepare(named.job, tmp_path / "set", derivation=derivation)
    assert later.id != first
    assert f"SET {first.upper()}" in texts(report_file.read(tmp_path / "set"))
    assert report_file.read(tmp_path / "set").engraved_id == first
    assert refused_for(tmp_path / "set") == []


# without room


def placements(made: Made) -> list[Placement]:
    return [copy.placement for copy in made.cut_set.copies]


def test_where_there_is_no_room_a_note_says_so_and_nothing_is_engraved(named: Made) -> None:
    tight = {1: shapely.box(0.0, 0.0, 100.0, 1.9)}
    made = names.plan(placements(named), "0" * 12, tight, 0.2, 1.0)
    assert {f.severity for f in made.findings} == {"note"}
    assert {f.code for f in made.findings} == {"no-room-for-name"}
    assert [(f.board, f.copy) for f in made.findings] == [("lamp", 1), ("lamp", 2), (None, None)]
    assert made.by_pass == {}


def test_letters_get_smaller_before_a_name_is_left_out(named: Made) -> None:
    low = {2: shapely.box(0.0, 0.0, 100.0, 2.2)}
    ((text, index), *_) = names.plan(placements(named), "0" * 12, low, 0.2, 1.0).by_pass[2]
    assert (text.text, text.height, index) == ("LAMP 1", 2.0, placements(named)[0].index)
    # a wide groove needs large letters
    assert names.plan(placements(named), "0" * 12, low, 0.5, 1.0).by_pass == {}


# forgeries: what is engraved is held against the job, and read back stroke by stroke


def rename(first: str, second: str) -> Callable[[Forged], None]:
    """The report names copies otherwise than the programs."""

    def forge(forged: Forged) -> None:
        for text in forged.row["passes"][0]["texts"]:
            text["text"] = {first: second, second: first}.get(text["text"], text["text"])

    return forge


def swapped(forged: Forged) -> None:
    """The names of both copies change places, in the report as in the programs."""
    one, other = (t for t in forged.row["passes"][0]["texts"] if t["board"])
    one["copy"], other["copy"] = other["copy"], one["copy"]


def exchanged(forged: Forged) -> None:
    """Each copy is said to be named next to the other one."""
    swapped(forged)
    rename("LAMP 1", "LAMP 2")(forged)


def another_id(forged: Forged) -> None:
    for text in forged.row["passes"][0]["texts"]:
        if text["board"] is None:
            text["text"] = "SET 0123456789AB"


def last_stroke(change: Callable[[str], str]) -> Callable[[Forged], None]:
    """A stroke of a letter changes; the last cut holds the end of the program."""

    def forge(forged: Forged) -> None:
        forged.edit("isolate", lambda text: text.replace(cut := strokes(text)[-3], change(cut)))

    return forge


def moved(cut: str) -> str:
    return re.sub(r"X(-?[\d.]+)", lambda m: f"X{float(m[1]) + 0.3:.4f}", cut)


def no_texts(forged: Forged) -> None:
    """The report does not say that anything is engraved."""
    forged.row["passes"][0]["texts"] = []


@pytest.mark.parametrize(
    ("forge", "code"),
    [
        (rename("LAMP 1", "LAMP 2"), "set-unlike-job"),
        (rename("LAMP 1", "LUMP 1"), "set-unlike-job"),
        (swapped, "set-unlike-job"),
        (exchanged, "set-unlike-job"),
        (another_id, "set-unlike-job"),
        (last_stroke(lambda cut: ""), "mark-off"),
        (last_stroke(moved), "mark-off"),
        (no_texts, "mark-unexpected"),
    ],
)
def test_a_forged_name_is_refused(
    named: Made, tmp_path: Path, forge: Callable[[Forged], None], code: str
) -> None:
    forged = Forged.of(named.folder, tmp_path / "set")
    forge(forged)
    assert code in {finding.code for finding in refused_for(forged.written())}


def test_nothing_is_wrong_with_names_that_are_only_written_again(
    named: Made, tmp_path: Path
) -> None:
    assert refused_for(Forged.of(named.folder, tmp_path / "set").written()) == []


def test_letters_that_there_are_none_of_are_named() -> None:
    square = shapely.box(20.0, 20.0, 50.0, 40.0)
    rooms = {1: shapely.box(0.0, 0.0, 70.0, 60.0).difference(square.buffer(1.0))}
    copy = placed(square)
    for name, drawn in (("lamp%", "LAMP"), ("灯", "its number alone")):
        named = replace(copy, board=replace(copy.board, name=name))
        plan = names.plan([named], "0a1b", rooms, 0.2, 1.0)
        (note,) = plan.findings
        assert (note.code, note.severity, note.board) == ("name-letters-missing", "note", name)
        assert f"engraved as {drawn}: there are no letters for" in note.message
        assert len(plan.by_pass[1]) == 2
