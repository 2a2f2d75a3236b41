"""A small set as it was written, to be spoilt and proved again with hashes and table aside."""

from __future__ import annotations

from pathlib import Path

import shapely

from millprep import job
from millprep.model.as_cut import AsCut
from millprep.model.blank import Blank, Layout
from millprep.model.job.job import JobPlan
from millprep.model.milling_pass import MillingPass
from millprep.model.program import Program
from millprep.report import report_file
from millprep.verify.as_cut import as_cut
from millprep.verify.clearances import check_gaps_opened
from millprep.verify.compare import compare
from millprep.verify.motion import check
from millprep.verify.prove import allowed_cuts, required_opening
from millprep.verify.read_back import motion_rows
from millprep.verify.reader import read
from millprep.verify.stray_cuts import ProgramCuts, check_stray_cuts
from millprep.verify.trace import Trace
from millprep.workflow.inputs import read_boards
from millprep.workflow.prepare import prepare
from tests.helpers import small_job

THICK = 0.02
"""Copper that moves by less, mm, is left to the tolerances."""


class Bench:
    """A small set as it was written, and what its programs cut."""

    def __init__(self, folder: Path) -> None:
        out = folder / "out"
        prepare(small_job.put(folder), out)
        self.plan: JobPlan = job.load(folder / "job.toml")
        report = report_file.read(out)
        self.layout: Layout = report.layout(read_boards(self.plan))
        self.blank: Blank = self.layout.blanks[0]
        (self.mill_pass,) = report.milling_passes()
        self.programs = report.programs(self.plan.cutters, self.plan.machine)
        self.texts = [(out / p.file).read_text("ascii") for p in self.programs]
        self.traces = [read(text, file="a") for text in self.texts]
        self.rows = motion_rows(out / "toolpaths.csv", self.programs)
        self.copper = self.cut(self.traces)
        (placement,) = self.layout.placements
        self.board = placement.pose.shape(placement.board.outline)
        assert not any(self.codes_of(k, self.traces) for k in range(len(self.programs)))

    def cut(self, traces: list[Trace]) -> AsCut:
        cuts = [
            (trace, program.cutter, self.mill_pass)
            for trace, program in zip(traces, self.programs, strict=True)
        ]
        return as_cut(self.blank, cuts, self.layout.placements)

    def codes_of(self, k: int, traces: list[Trace], copper: AsCut | None = None) -> set[str]:
        """The codes that the rules of motion for program k, and the cut copper, come to."""
        program: Program = self.programs[k]
        mill_pass: MillingPass = self.mill_pass
        motion = check(
            traces[k], cutter=program.cutter, machine=self.plan.machine, clamps=(),
            mill_pass=mill_pass, blank=self.blank, spoilboard=self.plan.drilling.spoilboard,
            file="a", at=program.start[:2],
        )  # fmt: skip
        depth = self.plan.isolation.depth
        (cutter,) = self.plan.isolation.cutters
        reach = cutter.width(depth) / 2
        slope = reach - cutter.width(depth, self.blank.copper) / 2
        where = [copper or self.copper]
        faults = compare(where, self.layout, reach=reach, slope=slope)[1]
        gap = required_opening(self.plan, self.blank)
        assert gap is not None
        narrow = check_gaps_opened(where[0], self.layout.placements[0], gap)
        cuts = [
            ProgramCuts("a", trace, program.cutter, self.mill_pass)
            for trace, program in zip(traces, self.programs, strict=True)
        ]
        here = self.layout.placements
        required = allowed_cuts(self.plan, self.blank, here)
        strays = check_stray_cuts(self.blank, cuts, here, [self.mill_pass], (), required)
        return {f.code for f in (*motion, *faults, *narrow, *strays)}

    def moved(self, copper: AsCut) -> shapely.Geometry:
        """Where an edge lies elsewhere by more than `THICK`, at surface or foot."""
        areas = []
        for one, other in zip(self.copper.grooves, copper.grooves, strict=True):
            for level in ("surface", "foot"):
                change = shapely.symmetric_difference(getattr(one, level), getattr(other, level))
                areas.append(change.buffer(-THICK / 2, quad_segs=2))
        return shapely.union_all(areas)
