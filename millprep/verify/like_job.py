"""A report held against the job that its set keeps: blanks, boards, passes and holes.

What is proved of programs is proved on the blanks and in the passes that the report names. So they
must be those of the job, or the proof is one of another set.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import combinations

import shapely

from millprep.geometry import letters
from millprep.model.blank import Blank, Layout, Placement
from millprep.model.finding import NOT_RUN, Finding
from millprep.model.job.job import BlankPlan, JobPlan
from millprep.model.milling_pass import MarginText, MillingPass, RegistrationHole
from millprep.verify.marks import around_text

SAME = 2e-3
"""Lengths in a report, rounded to four decimals and turned, are the same within this, mm."""


def check_like_job(
    job: JobPlan,
    layout: Layout,
    passes: Sequence[MillingPass],
    chosen: Sequence[str],
    set_id: str,
) -> list[Finding]:
    """Where a report describes another set than its job.

    Args:
        job: that the set keeps.
        layout: the boards on the blanks.
        passes: of all blanks.
        chosen: what was chosen outside the job, in the words of the report.
        set_id: that the programs engrave: of the set, or of the one that it came from.
    """
    return [
        Finding(
            code="set-unlike-job",
            severity="stop",
            message=f"report.json says {words}. {NOT_RUN}",
            blank=blank,
            mill_pass=number,
            file="report.json",
        )
        for words, blank, number in (
            *_blanks(job, layout.blanks),
            *_boards(job, layout, chosen),
            *_passes(job, layout, passes),
            *_texts(job, layout, passes, set_id),
        )
    ]


_ID = re.compile(r"[0-9a-f]{12}", re.ASCII)
Fault = tuple[str, int | None, int | None]
"""What a report says, and the blank and the pass that it says it of."""


def _blanks(job: JobPlan, blanks: Sequence[Blank]) -> Iterator[Fault]:
    """Every blank is one of the job's, and there are no more than the job has."""
    used: Counter[int] = Counter()
    for blank in blanks:
        mine = [n for n, plan in enumerate(job.blanks) if _is(blank, plan)]
        if not mine:
            x, y = blank.size
            yield (
                f"blank {blank.number} is {x:g} by {y:g} mm, {blank.thickness:g} mm thick with "
                f"{blank.copper:g} mm of copper, and the job has none like it",
                blank.number,
                None,
            )
            continue
        used[next((n for n in mine if used[n] < job.blanks[n].count), mine[0])] += 1
    for n, count in used.items():
        if count > job.blanks[n].count:
            yield f"{count} blanks of a size of which the job has {job.blanks[n].count}", None, None
    if len({blank.number for blank in blanks}) != len(blanks):
        yield "two blanks have one number", None, None


def _is(blank: Blank, plan: BlankPlan) -> bool:
    """Whether a blank is of a size of the job."""
    pairs = [
        *zip(blank.size, plan.size, strict=True),
        (blank.thickness, plan.thickness),
        (blank.copper, plan.copper),
    ]
    if any(abs(a - b) > 1e-4 for a, b in pairs) or (blank.outline is None) != (
        plan.outline is None
    ):
        return False
    if blank.outline is None or plan.outline is None:
        return True
    off = blank.outline.symmetric_difference(shapely.Polygon(plan.outline)).area
    return bool(off <= SAME * blank.outline.length)


def _boards(job: JobPlan, layout: Layout, chosen: Sequence[str]) -> Iterator[Fault]:
    """Every copy that the job asks for, once, as mirrored as it is, in its blank."""
    plans = {board.name: board for board in job.boards}
    wanted = {(board.name, n) for board in job.boards for n in range(1, board.count + 1)}
    only = {_copy(word) for word in chosen if word.startswith("only ")}
    wanted = (only or wanted) - {_copy(word) for word in chosen if word.startswith("skip ")}
    there = Counter((p.board.name, p.copy) for p in layout.placements)
    for name, copy in sorted(wanted - set(there)):
        yield f"nothing of board {name} copy {copy}, and the job has it", None, None
    for (name, copy), count in there.items():
        if (name, copy) not in wanted or count > 1:
            yield f"board {name} copy {copy} is cut, and the job has it not or once", None, None
    blanks = {blank.number: blank for blank in layout.blanks}
    for placement in layout.placements:
        pose, name = placement.pose, f"board {placement.board.name} copy {placement.copy}"
        if pose.mirrored != (plans[placement.board.name].drawn_from == "components"):
            yield f"{name} is cut as its mirror image", placement.blank, None
        plan = next((p for p in job.blanks if _is(blanks[placement.blank], p)), None)
        if plan is not None and not _inside(placement, blanks[placement.blank], plan):
            yield f"{name} lies in the margin of its blank", placement.blank, None
    yield from _separate(job, layout)


def _copy(word: str) -> tuple[str, int]:
    """The copy of a choice like "skip lamp:2"."""
    name, copy = word.split(" ", 1)[1].rsplit(":", 1)
    return name, int(copy)


def _inside(placement: Placement, blank: Blank, plan: BlankPlan) -> bool:
    """Whether a board keeps off the margin."""
    sheet = blank.outline or shapely.box(0.0, 0.0, *blank.size)
    room = sheet.buffer(SAME - plan.margin, join_style="mitre")
    return bool(room.covers(placement.pose.shape(placement.board.outline)))


def _separate(job: JobPlan, layout: Layout) -> Iterator[Fault]:
    """Boards keep the cutter's width apart at least."""
    least = job.profile.cutter.diameter
    areas = {
        p.index: p.pose.shape(shapely.Polygon(p.board.outline.exterior)) for p in layout.placements
    }
    for blank in layout.blanks:
        mine = layout.on(blank.number)
        tree = shapely.STRtree([areas[p.index] for p in mine])
        pairs = {
            (min(a, b), max(a, b))
            for p, a in zip(mine, range(len(mine)), strict=True)
            for b in tree.query(areas[p.index], predicate="dwithin", distance=least).tolist()
            if a != b
        }
        for a, b in sorted(pairs):
            if areas[mine[a].index].distance(areas[mine[b].index]) < least - SAME:
                names = [f"{p.board.name} copy {p.copy}" for p in (mine[a], mine[b])]
                yield f"boards {' and '.join(names)} overlap", blank.number, None


def _passes(job: JobPlan, layout: Layout, passes: Sequence[MillingPass]) -> Iterator[Fault]:
    """Passes as the machine reaches them, found by the holes that the job asks for."""
    blanks = {blank.number: blank for blank in layout.blanks}
    numbers: dict[int, list[int]] = {}
    for each in passes:
        numbers.setdefault(each.blank, []).append(each.number)
    for blank in layout.blanks:
        mine = numbers.get(blank.number, [])
        if mine != sorted(set(mine)):
            yield "its passes are out of order", blank.number, None
    reach = job.machine.reachable
    for each in passes:
        where = (each.blank, each.number)
        pose, blank = each.pose, blanks[each.blank]
        if pose.mirrored:
            yield "the blank is turned over in a pass", *where
            continue
        window = pose.shape(each.window)
        if window.hausdorff_distance(reach.shape) > 10 * SAME:
            yield "a window that is not what the machine reaches", *where
        touch = shapely.Point(pose.inverse().point(each.touch))
        sheet = blank.outline or shapely.box(0.0, 0.0, *blank.size)
        given = job.setup.touch
        if given is not None and math.dist(given, each.touch) > SAME:
            yield "Z is zeroed elsewhere than [setup] touch", *where
        elif not reach.contains(*each.touch, slack=SAME) or not sheet.covers(touch):
            yield "Z is zeroed where the machine does not reach, or off the blank", *where
        if each.verniers and not job.registration.verniers:
            yield "verniers, and the job has none", *where
        yield from ((words, *where) for words in _holes(job, each))
    for a, b in combinations([p for p in passes if p.number == 1 and not p.read], 2):
        if abs(a.pose.a - b.pose.a) > 1e-6:
            yield "blanks lie differently in their first pass", b.blank, b.number


def _texts(
    job: JobPlan, layout: Layout, passes: Sequence[MillingPass], set_id: str
) -> Iterator[Fault]:
    """Every copy is named by its own name and number, once, and every blank by the set's id."""
    copies = {(p.blank, p.board.name, p.copy) for p in layout.placements}
    seen: set[tuple[int, str | None, int | None]] = set()
    for each in passes:
        for text in each.texts:
            where, whose = (each.blank, each.number), (each.blank, text.board, text.copy)
            if not job.engrave_names:
                yield f"{text.text} is engraved, and the job names nothing", *where
            elif text.board is None and (
                text.text != f"SET {set_id.upper()}" or not _ID.fullmatch(set_id)
            ):
                yield f"{text.text} is engraved, which is not the set's id", *where
            elif text.board is not None and (
                whose not in copies or text.text != _spelt(f"{text.board} {text.copy}")
            ):
                yield f"{text.text} is engraved, and no copy on the blank is called so", *where
            elif whose in seen:
                yield f"{text.text} is engraved twice", *where
            elif text.board is not None and not _nearest(text, layout.on(each.blank)):
                yield f"{text.text} is engraved nearer to another copy", *where
            seen.add(whose)


def _nearest(text: MarginText, placements: Sequence[Placement]) -> bool:
    """Whether the copy that a text names is the nearest one."""
    here = around_text(text)
    away = {
        (p.board.name, p.copy): p.pose.shape(p.board.outline).distance(here) for p in placements
    }
    return away[text.board or "", text.copy or 0] <= min(away.values()) + SAME


def _spelt(name: str) -> str:
    """A name in the letters there are."""
    return letters.drawable(name)[0].strip()


def _holes(job: JobPlan, each: MillingPass) -> Iterator[str]:
    """Registration holes of the diameters of the job, where the pose of their pass says."""
    plan = job.registration
    for hole in each.registration:
        off = math.dist(each.pose.point(hole.blank), hole.machine)
        if hole.used_in != each.number or hole.drilled_in >= each.number or off > SAME:
            yield f"hole {hole.id} is not where the pass has it"
        if hole.role != "witness" and abs(hole.diameter - _diameter(hole, job)) > 1e-4:
            yield (
                f"hole {hole.id} is {hole.diameter:g} mm wide, and the job says "
                f"{_diameter(hole, job):g} mm"
            )
        if hole.slot and abs(hole.slot - plan.slot) > 1e-4:
            yield f"hole {hole.id} is another slot than the job's"
    roles = Counter(hole.role for hole in each.registration)
    if each.number > 1 and not (roles["locate"] >= 2 and roles["key"]):
        yield "a pass that no two holes and a key find again"


def _diameter(hole: RegistrationHole, job: JobPlan) -> float:
    """The diameter of a hole of its role."""
    return job.registration.key if hole.role == "key" else job.registration.hole
