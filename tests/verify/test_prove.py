"""What is proved of a set that resumes another one, whose copper was proved before."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.job import load
from millprep.model.finding import Refusal
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Program
from millprep.model.set_of_programs import MilledBlank
from millprep.verify.prove import prove_resumed
from millprep.verify.reader import read
from tests.helpers.programs import BLANK, HEAD, MACHINE, TAIL, cut
from tests.helpers.sample_job import write

FILE = "blank-1/pass-1/01-isolate-vee-resumed.ngc"
PASS = MillingPass(1, 1, shapely.box(0, 0, 60, 40), Pose(), (), (1.0, 1.0))


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> JobPlan:
    job = load(write(tmp_path_factory.mktemp("job")))
    return replace(job, machine=replace(MACHINE, max_plunge=300.0))


def resumed(folder: Path, plan: JobPlan, z: float) -> MilledBlank:
    """A blank with a resumed program that engraves at a height, and its files."""
    (engraver,) = plan.isolation.cutters
    text = f"{HEAD}{cut([(10, 10), (20, 10)], z)}{TAIL}"
    for old, new in (("S10000", engraver.spindle), ("F300.", engraver.feed), ("F60.", 100)):
        text = text.replace(old, f"{old[0]}{new:g}")
    file = folder / FILE
    file.parent.mkdir(parents=True)
    file.write_text(text, "ascii")
    rows = ["blank,pass,program,line,motion,x,y,z,i,j,feed"]
    at: tuple[float, ...] = (1.0, 1.0, 2.0)
    prefix = f"1,1,{file.name}"
    rows.append(f"{prefix},1,rapid,1,1,2,,,")
    for move in read(text, file=FILE).moves:
        at = tuple(new if new == new else old for new, old in zip(move.end, at, strict=True))
        place = ",".join(map(str, at))
        rows.append(f"{prefix},{move.line},{move.kind},{place},,,{move.feed or ''}")
    (folder / "toolpaths.csv").write_text("\n".join(rows) + "\n", "ascii")
    program = Program(
        file=FILE, blank=1, mill_pass=1, cutter=engraver, works=("isolate",), depth=0.08,
        spindle=engraver.spindle, start=(1.0, 1.0, 2.0), moves=(),
    )  # fmt: skip
    return MilledBlank(BLANK, passes=(replace(PASS, programs=(program,)),))


def codes(folder: Path, plan: JobPlan, z: float, *, flat: bool) -> set[str]:
    blank = resumed(folder, plan, z)
    return {finding.code for finding in prove_resumed(folder, plan, [blank], flat=flat)}


def test_depths_over_a_surface_map_are_not_those_of_the_job(tmp_path: Path, plan: JobPlan) -> None:
    """Of a set that follows a map only motion is judged: how deep it cuts its heights hide."""
    depth = plan.isolation.depth
    assert codes(tmp_path / "good", plan, -depth, flat=True) == set()
    assert "cut-depth" in codes(tmp_path / "flat", plan, -depth - 0.1, flat=True)
    assert codes(tmp_path / "bent", plan, -depth - 0.1, flat=False) == set()
    assert "too-deep" in codes(tmp_path / "deep", plan, -9.0, flat=False)


def test_a_resumed_program_with_a_damaged_byte_is_refused(tmp_path: Path, plan: JobPlan) -> None:
    blank = resumed(tmp_path, plan, -plan.isolation.depth)
    file = tmp_path / FILE
    file.write_bytes(file.read_bytes().replace(b"(look", b"(l\xf6ok"))
    with pytest.raises(Refusal) as refused:
        prove_resumed(tmp_path, plan, [blank], flat=True)
    (finding,) = refused.value.findings
    assert (finding.code, finding.file, finding.line) == ("file-damaged", FILE, 6)
