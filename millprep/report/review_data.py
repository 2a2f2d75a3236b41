"""A set as the review page takes it: everything on its blanks, in few bytes.

Copper as drawn is there once for each board, in the drawing's frame, with the pose of every copy;
what is cut is in the blank's frame, the programs in the machine's frame as their files
have them, with the pose of every pass.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from millprep.cache import cached
from millprep.model.as_cut import AsCut
from millprep.model.board import Board
from millprep.model.cut import HoleCut
from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.milling_pass import Join, MillingPass, RegistrationHole
from millprep.model.program import ARC_CCW, ARC_CW, Trail
from millprep.model.set_of_programs import BoardCopy, CutSet
from millprep.report.blank_contents import marked, name_of, ordered_cutters, where_words
from millprep.report.compact import (
    PATH_UNIT,
    SHAPE_UNIT,
    areas,
    figure,
    line,
    net_facts,
    pair_of,
    point,
    runs,
    spacings,
    text,
    whole,
)
from millprep.report.words import cutter_words, plain


def scene_data(cut_set: CutSet, *, refused: bool = False, unread: bool = False) -> dict[str, Any]:
    """The set as a tree of plain values; names are freed of control characters."""
    boards = _boards(cut_set)
    cutters = [cutter.name for cutter in ordered_cutters(cut_set)]
    return {
        "set": plain(cut_set.id),
        "refused": refused,
        "unread": unread,
        "whole": not (cut_set.resumed or refused),
        "units": {"shape": SHAPE_UNIT, "path": PATH_UNIT},
        "machine": {
            "rapid": cut_set.machine.rapid,
            "travel": [figure(v) for v in cut_set.machine.travel.bounds],
        },
        "gap": cut_set.gap,
        "flatness": figure(cut_set.flatness),
        "required": cut_set.gap if cut_set.certificate is None else cut_set.certificate.required,
        "cutters": [_cutter(cutter) for cutter in ordered_cutters(cut_set)],
        "boards": [_board(board) for board in boards],
        "blanks": [
            {
                "number": blank.number,
                "size": [figure(v) for v in blank.size],
                "thickness": figure(blank.thickness),
                "copper": figure(blank.copper),
                "outline": None if blank.outline is None else areas([blank.outline]),
            }
            for blank in (milled.laminate for milled in cut_set.blanks)
        ],
        "copies": [_copy(boards, copy) for copy in cut_set.copies],
        "asCut": [
            {
                "blank": as_cut.blank,
                "parts": _parts(as_cut),
                "carries": [
                    [[copy, plain(piece, 40)] for copy, piece in part.pieces]
                    for part in as_cut.parts
                ],
            }
            for as_cut in (blank.as_cut for blank in cut_set.blanks)
            if as_cut is not None
        ],
        "holes": [
            _hole(blank.number, cutters, hole)
            for blank in cut_set.blanks
            for hole in (*blank.cuts.holes, *blank.registration)
        ],
        "tabs": _tabs(cut_set),
        "passes": [_pass(milling_pass) for milling_pass in cut_set.passes],
        "registration": [
            {"blank": p.blank, **_registration(hole)}
            for p in cut_set.passes
            for hole in p.registration
        ],
        "clamps": [
            {"box": [figure(v) for v in c.box.bounds], "height": figure(c.height),
             "passes": None if c.passes is None else list(c.passes)}
            for c in cut_set.clamps
        ],
        "joins": [_join(join) for join in cut_set.joins],
        "findings": _findings(cut_set),
        "programs": [
            {
                "file": plain(program.file, 160),
                "blank": program.blank,
                "pass": program.mill_pass,
                "cutter": cutters.index(program.cutter.name),
                "works": [plain(work) for work in program.works],
                "spins": program.spins,
                "seconds": None if program.figures is None else figure(program.figures.seconds),
                **trail_data(program.trail),
            }
            for program in cut_set.programs
            if program.trail is not None
        ],
    }  # fmt: skip


def _boards(cut_set: CutSet) -> list[Board]:
    """Every board once, in the order of its first copy."""
    return list({id(c.placement.board): c.placement.board for c in cut_set.copies}.values())


@cached
def _parts(as_cut: AsCut) -> dict[str, str]:
    return areas([part.shape for part in as_cut.parts])


@cached
def _board(board: Board) -> dict[str, Any]:
    return {
        "name": plain(board.name, 60),
        "outline": areas([board.outline]),
        "pieces": [plain(piece.id, 40) for piece in board.pieces],
        "copper": areas([piece.shape for piece in board.pieces]),
    }


def _copy(boards: list[Board], copy: BoardCopy) -> dict[str, Any]:
    placement, proof = copy.placement, copy.proof
    board = placement.board
    nets = [copy.nets.get(piece.id) for piece in board.pieces]
    return {
        "board": next(i for i, known in enumerate(boards) if known is board),
        "copy": placement.copy,
        "blank": placement.blank,
        "pose": placement.pose.as_list(),
        "nets": [None if net is None else plain(net, 60) for net in nets],
        "pins": [[plain(pin, 60) for pin in copy.pins.get(piece.id, ())] for piece in board.pieces],
        "jumpers": [[figure(v) for end in wire for v in end] for wire in copy.jumpers],
        "facts": net_facts(copy.judged),
        "spacings": spacings(copy.judged),
        "differences": None
        if proof is None or proof.differences is None
        else {
            "much": areas(list(proof.differences.too_much.geoms)),
            "little": areas(list(proof.differences.too_little.geoms)),
            "mm2": [
                figure(proof.differences.too_much.area),
                figure(proof.differences.too_little.area),
            ],
        },
        "narrowest": None if proof is None else figure(proof.narrowest_gap),
        "narrowestAt": None if proof is None else point(proof.gap_at),
    }


def _cutter(cutter: Cutter) -> dict[str, Any]:
    """The cutter and what its groove's width follows from."""
    row: dict[str, Any] = {
        "name": plain(cutter.name, 60),
        "kind": cutter.kind,
        "words": cutter_words(cutter),
    }
    if isinstance(cutter, Vee):
        row |= {"tip": cutter.tip, "angle": cutter.angle}
    elif isinstance(cutter, EndMill):
        row |= {"diameter": cutter.diameter}
    elif isinstance(cutter, Drill):
        row |= {"diameter": cutter.diameter, "angle": cutter.point_angle}
    return row


def _hole(blank: int, cutters: list[str], hole: HoleCut) -> dict[str, Any]:
    return {
        "id": plain(hole.hole, 40),
        "blank": blank,
        "copy": hole.placement,
        "at": point(hole.at),
        "end": point(hole.end),
        "diameter": figure(hole.diameter),
        "depth": figure(hole.depth),
        "work": hole.work,
        "cutter": cutters.index(hole.cutter),
    }


def _tabs(cut_set: CutSet) -> list[dict[str, Any]]:
    """Each tab as the line along which the cutter stays high."""
    width = {c.name: c.width(1.0) for c in cut_set.cutters}
    tabs = []
    for blank, profile in ((b, p) for b in cut_set.blanks for p in b.cuts.profiles):
        for tab in profile.tabs:
            run = profile.path.part(tab.start, tab.end)
            tabs.append(
                {
                    "blank": blank.number,
                    "width": figure(width[profile.cutter]),
                    "xy": line([whole(run.flattened(), SHAPE_UNIT)]),
                }
            )
    return tabs


def _pass(milling_pass: MillingPass) -> dict[str, Any]:
    return {
        "blank": milling_pass.blank,
        "number": milling_pass.number,
        "pose": milling_pass.pose.as_list(),
        "window": areas([milling_pass.window]),
        "touch": point(milling_pass.touch),
        "verniers": [
            {
                "id": plain(vernier.id, 40),
                "at": point(vernier.at),
                "measures": vernier.measures,
                "pitch": vernier.pitch,
                "step": vernier.step,
                "reach": vernier.reach,
                "passes": list(vernier.passes),
            }
            for vernier in milling_pass.verniers
        ],
    }


def _registration(hole: RegistrationHole) -> dict[str, Any]:
    return {
        "id": plain(hole.id, 40),
        "at": point(hole.blank),
        "diameter": figure(hole.diameter),
        "ends": [point(end) for end in hole.ends] if hole.slot else None,
        "role": "turn" if hole.free is not None else hole.role,
        "drilledIn": hole.drilled_in,
        "usedIn": hole.used_in,
        "pin": plain(hole.pin, 40),
    }


def _join(join: Join) -> dict[str, Any]:
    return {
        "blank": join.blank,
        "copy": join.placement,
        "piece": None if join.piece is None else plain(join.piece, 40),
        "at": point(join.at),
        "passes": list(join.passes),
        "across": [figure(v) for v in join.across],
        "overrun": figure(join.overrun),
        "predicted": figure(join.predicted),
        "tolerance": figure(join.tolerance_electrical),
        "toleranceGap": figure(join.tolerance_gap),
    }


def _findings(cut_set: CutSet) -> list[dict[str, Any]]:
    """Every finding, `stop` first, with its place on a blank where it has one."""
    places = {mark.name: mark for mark in marked(cut_set)}
    rows = []
    for index, finding in sorted(
        enumerate(cut_set.findings), key=lambda row: (row[1].rank, row[0])
    ):
        mark = places.get(name_of(index))
        rows.append(
            {
                "name": name_of(index),
                "severity": finding.severity,
                "code": plain(finding.code),
                "message": plain(finding.words, 1000),
                "where": where_words(finding),
                "blank": None if mark is None else mark.blank,
                "at": None if mark is None else point(mark.at),
                "pair": pair_of(cut_set, finding),
                "places": [] if mark is None else [point(at) for at in mark.places],
            }
        )
    return rows


FEED_UNIT = 1e-2
WAIT_UNIT = 1e-3


def trail_data(trail: Trail) -> dict[str, Any]:
    """The motion of a program.

    `start` is the first place; `x`, `y` and `z` lead from place to place, z in runs. `kind`,
    `feed` (0 for a rapid) and `line` (differences) are runs. `centre` leads from the start of
    every arc to its centre, x and y in turn. `wait` holds pairs: how many moves further, and
    how long the cutter waits before that move.
    """
    places = whole(trail.xyz, PATH_UNIT)
    dx, dy, dz = np.diff(places, axis=0).T
    arcs = (trail.kind == ARC_CW) | (trail.kind == ARC_CCW)
    centre = whole(trail.centre[arcs], PATH_UNIT) - places[:-1, :2][arcs]
    waits = np.flatnonzero(trail.wait > 0)
    wait = np.column_stack((np.diff(waits, prepend=0), whole(trail.wait[waits], WAIT_UNIT)))
    return {
        "moves": len(trail),
        "start": places[0].tolist(),
        "x": text(dx),
        "y": text(dy),
        "z": runs(dz),
        "kind": runs(trail.kind),
        "feed": runs(whole(np.nan_to_num(trail.feed), FEED_UNIT)),
        "line": runs(np.diff(trail.line, prepend=0)),
        "centre": text(centre),
        "wait": text(wait),
    }
