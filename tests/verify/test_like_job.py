"""A report that describes another set than its job is refused, whatever it says otherwise."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.blank import Blank, Layout, Placement
from millprep.model.board import Board, CopperPiece
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MarginText, MillingPass, RegistrationHole, Vernier
from millprep.verify.like_job import check_like_job
from tests.helpers import small_job

ID = "0123456789ab"
OUTLINE = shapely.box(0.0, 0.0, 30.0, 20.0)
BOARD = Board("lamp", OUTLINE, (CopperPiece("c1", shapely.box(5, 5, 9, 9)),), ())
BLANK = Blank(1, (120.0, 50.0), 1.6, 0.035)
FIRST, SECOND = (
    Placement(n, BOARD, n + 1, 1, Pose.shift(x, 15.0)) for n, x in enumerate((15.0, 70.0))
)
LAYOUT = Layout((BLANK,), (FIRST, SECOND))
KEPT = Pose()


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    text = small_job.changed("size = [60.0, 50.0]", "size = [120.0, 50.0]")
    text = small_job.changed('drawn_from = "copper"', 'drawn_from = "copper"\ncount = 2', text)
    text = small_job.changed(
        'name = "lamp test piece"', 'name = "lamp test piece"\nengrave_names = true', text
    )
    return load(small_job.put(tmp_path_factory.mktemp("like"), text))


def once(job: JobPlan, **changes: object) -> MillingPass:
    """The one pass of the blank."""
    window = KEPT.inverse().shape(job.machine.reachable.shape)
    made = MillingPass(1, 1, window, KEPT, (), (60.0, 40.0))
    return replace(made, **changes)  # type: ignore[arg-type]


def said(
    job: JobPlan,
    layout: Layout = LAYOUT,
    passes: Sequence[MillingPass] | None = None,
    chosen: Sequence[str] = (),
) -> list[str]:
    found = check_like_job(job, layout, passes or [once(job)], chosen, ID)
    assert {(f.code, f.severity, f.file) for f in found} <= {
        ("set-unlike-job", "stop", "report.json")
    }
    return [finding.message.removeprefix("report.json says ").split(". ")[0] for finding in found]


def test_a_report_like_its_job_is_believed(job: JobPlan) -> None:
    assert said(job) == []
    # as near as one cut frees both
    near = replace(SECOND, pose=Pose.shift(47.0, 15.0))
    assert said(job, replace(LAYOUT, placements=(FIRST, near))) == []
    assert said(job, replace(LAYOUT, placements=(SECOND,)), chosen=["only lamp:2"]) == []
    assert said(job, replace(LAYOUT, placements=(FIRST,)), chosen=["skip lamp:2"]) == []


@pytest.mark.parametrize(
    ("layout", "words"),
    [
        (
            replace(LAYOUT, blanks=(replace(BLANK, copper=0.07),)),
            "blank 1 is 120 by 50 mm, 1.6 mm thick with 0.07 mm of copper, and the job has none",
        ),
        (
            replace(LAYOUT, blanks=(BLANK, replace(BLANK, number=2))),
            "2 blanks of a size of which the job has 1",
        ),
        (replace(LAYOUT, blanks=(BLANK, BLANK)), "two blanks have one number"),
        (replace(LAYOUT, placements=(FIRST,)), "nothing of board lamp copy 2, and the job has it"),
        (
            replace(LAYOUT, placements=(FIRST, SECOND, replace(SECOND, index=2, copy=3))),
            "board lamp copy 3 is cut, and the job has it not or once",
        ),
        (
            replace(LAYOUT, placements=(FIRST, replace(SECOND, pose=Pose(-1.0, c=100.0, f=15.0)))),
            "board lamp copy 2 is cut as its mirror image",
        ),
        (
            replace(LAYOUT, placements=(FIRST, replace(SECOND, pose=Pose.shift(81.0, 15.0)))),
            "board lamp copy 2 lies in the margin of its blank",
        ),
        (
            replace(LAYOUT, placements=(FIRST, replace(SECOND, pose=Pose.shift(46.0, 15.0)))),
            "boards lamp copy 1 and lamp copy 2 overlap",
        ),
    ],
)
def test_other_blanks_and_boards_are_not(job: JobPlan, layout: Layout, words: str) -> None:
    assert any(message.startswith(words) for message in said(job, layout))


def test_an_offcut_of_another_outline_is_not(job: JobPlan) -> None:
    corners = ((0.0, 0.0), (120.0, 0.0), (120.0, 50.0), (5.0, 50.0), (0.0, 45.0))
    plan = replace(job, blanks=(replace(job.blanks[0], outline=corners),))
    same = replace(BLANK, outline=shapely.Polygon(corners))
    assert said(plan, replace(LAYOUT, blanks=(same,))) == []
    other = replace(BLANK, outline=shapely.Polygon([*corners[:3], (10.0, 50.0), (0.0, 40.0)]))
    (message,) = said(plan, replace(LAYOUT, blanks=(other,)))
    assert message.startswith("blank 1 is 120 by 50 mm")
    (message,) = said(plan)
    assert message.startswith("blank 1 is 120 by 50 mm")


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"pose": Pose(-1.0, c=120.0)}, "the blank is turned over in a pass"),
        ({"pose": Pose.shift(5.0, 0.0)}, "a window that is not what the machine reaches"),
        (
            {"touch": (130.0, 40.0)},
            "Z is zeroed where the machine does not reach, or off the blank",
        ),
    ],
)
def test_a_pass_as_the_machine_does_not_reach_is_not(
    job: JobPlan, changes: dict[str, object], words: str
) -> None:
    assert said(job, passes=[once(job, **changes)]) == [words]


def test_passes_twice_or_out_of_order_are_not(job: JobPlan) -> None:
    assert said(job, passes=[once(job), once(job)]) == ["its passes are out of order"]


def test_what_the_job_says_of_a_pass_is_held_to(job: JobPlan) -> None:
    given = replace(job, setup=replace(job.setup, touch=(10.0, 10.0)))
    assert said(given) == ["Z is zeroed elsewhere than [setup] touch"]
    bare = replace(job, registration=replace(job.registration, verniers=False))
    combs = Vernier("v1", 1, (20.0, 5.0), "x", (1, 2), 1.0, 0.02, 10)
    assert said(bare, passes=[once(bare, verniers=(combs,))]) == ["verniers, and the job has none"]


def test_all_blanks_lie_the_same_way_in_their_first_pass(job: JobPlan) -> None:
    two = replace(job, blanks=(replace(job.blanks[0], count=2),))
    layout = Layout((BLANK, replace(BLANK, number=2)), (FIRST, replace(SECOND, blank=2)))
    turned = Pose.turn(180).then(Pose.shift(120.0, 50.0))
    window = turned.inverse().shape(job.machine.reachable.shape)
    other = once(two, blank=2, pose=turned, window=window)
    assert said(two, layout, [once(two), other]) == ["blanks lie differently in their first pass"]
    # one that was read of the blank may lie a little askew
    assert said(two, layout, [once(two), replace(other, read=("touches",))]) == []


def holes(job: JobPlan) -> tuple[RegistrationHole, ...]:
    wide, plan = job.registration.hole, job.registration
    places = ((4.0, 4.0), (116.0, 46.0), (4.0, 46.0))
    first, second, third = places
    return (
        RegistrationHole("r1", first, first, wide, "locate", 1, 2),
        RegistrationHole("r2", second, second, wide, "locate", 1, 2, (0.936, 0.351), plan.slot),
        RegistrationHole("r3", third, third, plan.key, "key", 1, 2),
    )


def test_other_registration_holes_are_not(job: JobPlan) -> None:
    first, second, key = holes(job)
    for mine, words in (
        ((first, second, key), None),
        ((first, second), "a pass that no two holes and a key find again"),
        ((first, second, replace(key, used_in=1)), "hole r3 is not where the pass has it"),
        (
            (first, second, replace(key, machine=(4.1, 46.0))),
            "hole r3 is not where the pass has it",
        ),
        (
            (first, second, replace(key, diameter=9.0)),
            "hole r3 is 9 mm wide, and the job says 4 mm",
        ),
        ((first, replace(second, slot=0.3), key), "hole r2 is another slot than the job's"),
    ):
        passes = [once(job), once(job, number=2, registration=mine)]
        assert said(job, passes=passes) == ([] if words is None else [words])


NAME = MarginText("LAMP 1", (16.0, 8.0), 0, 2.0, "lamp", 1, 3.0)
MARK = MarginText(f"SET {ID.upper()}", (45.0, 40.0), 0, 2.0, None, None, 5.0)


@pytest.mark.parametrize(
    ("texts", "words"),
    [
        ((NAME, MARK), None),
        ((replace(MARK, text="SET 0"),), "SET 0 is engraved, which is not the set's id"),
        (
            (replace(NAME, text="LAMP 2"),),
            "LAMP 2 is engraved, and no copy on the blank is called so",
        ),
        ((NAME, NAME), "LAMP 1 is engraved twice"),
        ((replace(NAME, at=(75.0, 8.0)),), "LAMP 1 is engraved nearer to another copy"),
    ],
)
def test_other_texts_are_not(
    job: JobPlan, texts: tuple[MarginText, ...], words: str | None
) -> None:
    assert said(job, passes=[once(job, texts=texts)]) == ([] if words is None else [words])


def test_a_job_that_names_nothing_has_no_texts(job: JobPlan) -> None:
    plan = replace(job, engrave_names=False)
    passes = [once(plan, texts=(NAME,))]
    assert said(plan, passes=passes) == ["LAMP 1 is engraved, and the job names nothing"]
