"""report.json: the set as plain data, by the contract in report.schema.json."""

from __future__ import annotations

import json
from importlib.resources import files
from typing import TYPE_CHECKING, Any

import shapely

from millprep.model.cutter import Drill, EndMill, Vee
from millprep.report.bed import bed_programs
from millprep.report.cutting_words import cutting_row
from millprep.report.levelling_record import levelling_row
from millprep.report.resumed import resumed_rows
from millprep.report.rules_record import rules_row

if TYPE_CHECKING:
    from collections.abc import Iterable

    from millprep.geometry.pose import Pose
    from millprep.model.as_cut import WorstCase
    from millprep.model.certificate import Limit
    from millprep.model.cutter import Cutter
    from millprep.model.cutting import Cutting
    from millprep.model.finding import Finding
    from millprep.model.layout import Placement
    from millprep.model.milling_pass import Join, MillingPass, RegistrationHole
    from millprep.model.program import Figures, Program
    from millprep.model.set_of_programs import CutSet
    from millprep.model.vernier import Vernier

FORMAT = 1
CORNERS = 20
"""Places of so many unreached corners of a copy stand in the report."""
Row = dict[str, Any]
Costs = dict[tuple[str, str], "Figures"]
"""Figures of a program by its file."""


def schema() -> Row:
    """The JSON Schema of report.json, as shipped with the package."""
    text = files("millprep.report").joinpath("report.schema.json").read_text(encoding="utf-8")
    loaded: Row = json.loads(text)
    return loaded


def record(cut_set: CutSet) -> Row:
    """The report of one run.

    Lengths in mm to four decimals, times in s; None for what was not computed. A refused run
    has no programs, so its `machine_seconds` is None too.
    """
    costs: Costs = {}
    if cut_set.figures:
        pairs = zip(cut_set.programs, cut_set.figures, strict=True)
        costs = {(program.file, program.cutter.name): figures for program, figures in pairs}
    return {
        "format": FORMAT,
        "set": cut_set.id,
        "job": cut_set.job,
        "derived_from": cut_set.derived_from,
        "chosen": list(cut_set.chosen),
        "resumed": resumed_rows(cut_set),
        "inputs": [{"file": i.file, "sha256": i.sha256} for i in cut_set.inputs],
        "blanks": [
            {
                "number": blank.number,
                "size": _point(blank.size),
                "thickness": _mm(blank.thickness),
                "copper": _mm(blank.copper),
                "outline": blank.outline
                and [_point(at) for at in blank.outline.exterior.coords[:-1]],
            }
            for blank in cut_set.layout.blanks
        ],
        "boards": [_board(cut_set, placement) for placement in cut_set.layout.placements],
        "cutters": {cutter.name: _cutter(cutter) for cutter in cut_set.cutters},
        "bed": [_program(cut_set, program, costs) for program in bed_programs(cut_set)],
        "passes": [_pass(cut_set, milling_pass, costs) for milling_pass in cut_set.passes],
        "joins": [_join(cut_set, join) for join in cut_set.joins],
        "certificate": _certificate(cut_set),
        "findings": [finding_row(finding) for finding in cut_set.findings],
        "machine_seconds": _mm(sum(f.seconds for f in cut_set.figures)) if costs else None,
        "files": None,
        "seal": None,
    }


def _board(cut_set: CutSet, placement: Placement) -> Row:
    proof = next((p for p in cut_set.proofs if p.placement == placement.index), None)
    necks = {} if proof is None else {neck.piece: neck for neck in proof.necks}
    return {
        "name": placement.board.name,
        "copy": placement.copy,
        "input": cut_set.board_input[placement.index],
        "blank": placement.blank,
        "outline": [_point(at) for at in placement.board.outline.exterior.coords[:-1]],
        "drawing_to_blank": _affine(placement.pose),
        "pieces": [
            {
                "id": piece.id,
                "net": cut_set.nets.get((placement.index, piece.id)),
                "at": _point(piece.at),
                "narrowest_copper": _mm(neck.width) if neck else None,
                "copper_at": _point(neck.at) if neck else None,
            }
            for piece in placement.board.pieces
            for neck in [necks.get(piece.id)]
        ],
        "proof": None
        if proof is None
        else {
            "pieces": proof.pieces,
            "shorts": proof.shorts,
            "opens": proof.opens,
            "narrowest_gap": _mm(proof.narrowest_gap),
            "narrowest_copper": _mm(proof.narrowest_copper),
            "gap_at": _place(proof.gap_at),
            "copper_at": _place(proof.copper_at),
            "gaps": [
                {"pieces": list(one.pieces), "gap": _mm(one.gap), "at": _point(one.at)}
                for one in proof.gaps
            ],
            "worst": _worst(proof.worst),
            "bridges": proof.bridges,
            "lands": None
            if proof.lands is None
            else [
                {
                    "hole": one.hole,
                    "gap": _mm(one.gap),
                    "at": _point(one.at),
                    "piece": one.other,
                }
                for one in proof.lands
            ],
            "corners_unreached": len(proof.corners),
            "corners": [
                {"piece": one.piece, "out": _mm(one.out), "at": _point(one.at)}
                for one in proof.corners[:CORNERS]
            ],
        },
        "rules": rules_row(
            next((one for one in cut_set.judged if one.placement == placement.index), None)
        ),
    }


def _worst(worst: WorstCase | None) -> Row | None:
    if worst is None:
        return None
    return {
        "shorts": worst.shorts,
        "short_at": _place(worst.short_at),
        "opens": worst.opens,
        "narrowest_gap": _mm(worst.narrowest_gap),
        "gap_at": _place(worst.gap_at),
        "narrowest_copper": _mm(worst.narrowest_copper),
        "copper_at": _place(worst.copper_at),
    }


def _certificate(cut_set: CutSet) -> Row | None:
    stands = cut_set.certificate
    if stands is None:
        return None

    def limit(kind: str, of: Limit) -> Row:
        placement = cut_set.layout.placements[of.placement]
        return {
            "mismatch": _mm(of.mismatch),
            "at_least": kind in stands.at_least,
            "limited_by": {
                "at": _point(of.at),
                "blank": of.blank,
                "board": placement.board.name,
                "copy": placement.copy,
                "piece": of.piece,
            },
        }

    least = "short" if stands.least is stands.short else "open"
    return limit(least, stands.least) | {
        "turn": _mm(stands.turn),
        "short": limit("short", stands.short),
        "open": limit("open", stands.open),
        "gap": {"asked": _mm(stands.asked)} | limit("gap", stands.gap),
    }


def _cutter(cutter: Cutter) -> Row:
    row: Row = {"kind": cutter.kind}
    if isinstance(cutter, Vee):
        row |= {"tip": _mm(cutter.tip), "angle": _mm(cutter.angle)}
    elif isinstance(cutter, EndMill):
        # a flat tip is a point of half a turn; the contract asks both kinds for the angle
        row |= {"diameter": _mm(cutter.diameter), "point_angle": 180.0}
    elif isinstance(cutter, Drill):
        row |= {"diameter": _mm(cutter.diameter), "point_angle": _mm(cutter.point_angle)}
    return row | {"flute": _mm(cutter.flute), "shank": _mm(cutter.shank)}


def _pass(cut_set: CutSet, milling_pass: MillingPass, costs: Costs) -> Row:
    here = (milling_pass.blank, milling_pass.number)
    window = shapely.get_coordinates(milling_pass.window.exterior)[:-1]
    return {
        "blank": milling_pass.blank,
        "number": milling_pass.number,
        "window": [_point(corner) for corner in window.tolist()],
        "blank_to_machine": _affine(milling_pass.pose),
        "touch": _point(milling_pass.touch),
        "registration": [_hole(hole) for hole in milling_pass.registration],
        "verniers": [_vernier(one) for one in milling_pass.verniers],
        "levelling": levelling_row(cut_set, milling_pass),
        "programs": [
            _program(cut_set, program, costs)
            for program in cut_set.programs
            if (program.blank, program.mill_pass) == here
        ],
    }


def _hole(hole: RegistrationHole) -> Row:
    return {
        "id": hole.id,
        "blank": _point(hole.blank),
        "machine": _point(hole.machine),
        "diameter": _mm(hole.diameter),
        "role": hole.role,
        "drilled_in": hole.drilled_in,
        "used_in": hole.used_in,
    }


def _vernier(one: Vernier) -> Row:
    return {
        "id": one.id,
        "at": _point(one.at),
        "measures": one.measures,
        "passes": list(one.passes),
        "pitch": _mm(one.pitch),
        "step": _mm(one.step),
        "reach": one.reach,
    }


def _program(cut_set: CutSet, program: Program, costs: Costs) -> Row:
    cost = costs.get((program.file, program.cutter.name))
    cutting = next((one for one in cut_set.cutting if _of(one, program)), None)
    return {
        "file": program.file,
        "lines": list(cost.lines) if cost and cost.lines else None,
        "cutter": program.cutter.name,
        "work": program.work,
        "depth": _mm(program.depth),
        "spindle": _mm(program.spindle),
        "seconds": _mm(cost.seconds) if cost else None,
        "cut_length": _mm(cost.cut_length) if cost else None,
        "travel_length": _mm(cost.travel_length) if cost else None,
        "cutting": cutting_row(cutting),
    }


def _of(one: Cutting, program: Program) -> bool:
    """Whether it tells of a program, which may share its file with others."""
    return (one.file, one.cutter) == (program.file, program.cutter.name)


def _join(cut_set: CutSet, join: Join) -> Row:
    placement = cut_set.layout.placements[join.placement]
    return {
        "blank": join.blank,
        "board": placement.board.name,
        "copy": placement.copy,
        "piece": join.piece,
        "at": _point(join.at),
        "passes": list(join.passes),
        "predicted_rms": _mm(join.predicted_rms),
        "predicted_997": _mm(join.predicted),
        "tolerance_electrical": _mm(join.tolerance_electrical),
        "tolerance_gap": _mm(join.tolerance_gap),
        "tick": _mm(join.tick),
    }


def finding_row(finding: Finding) -> Row:
    """One finding."""
    return {
        "code": finding.code,
        "severity": finding.severity,
        "message": finding.message,
        "frame": finding.frame,
        "at": None if finding.at is None else _point(finding.at),
        "board": finding.board,
        "copy": finding.copy,
        "blank": finding.blank,
        "pass": finding.mill_pass,
        "file": finding.file,
        "line": finding.line,
    }


def _mm(value: float | None) -> Any:
    """Four decimals, and no negative zero."""
    return None if value is None else round(float(value), 4) + 0.0


def _place(at: Iterable[float] | None) -> list[float] | None:
    return None if at is None else _point(at)


def _point(at: Iterable[float]) -> list[float]:
    return [_mm(value) for value in at]


def _affine(pose: Pose) -> list[float]:
    return [round(float(value), 9) + 0.0 for value in pose.as_list()]
