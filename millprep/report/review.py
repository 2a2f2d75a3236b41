"""The review part of sheet.html: data, style and script, all inside the page.

Of the set everything is there, in few bytes. Copper as drawn is there once for each board, in the
drawing's frame, with the pose of every copy; what is cut is in the blank's frame, the programs in
the machine's frame as their files have them, with the pose of every pass.
"""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from millprep.cache import Cache, cached
from millprep.model.as_cut import AsCut
from millprep.model.board import Board
from millprep.model.set_of_programs import BoardCopy, CutSet
from millprep.report.blank_contents import marked, name_of, ordered_cutters, where_words
from millprep.report.compact import (
    PATH_UNIT,
    SHAPE_UNIT,
    areas,
    cutter_data,
    figure,
    hole_data,
    join_data,
    legend_data,
    net_facts,
    pair_of,
    pass_data,
    point,
    registration_data,
    spacings,
    tabs_data,
    trail_data,
)
from millprep.report.palette import SCHEMES, scheme, screen_colours, style_variables
from millprep.report.words import plain

LAYERS = (
    ("design", "Copper as drawn", True),
    ("asCut", "Copper left when finished", True),
    ("differences", "Differences", True),
    ("paths", "Paths", False),
    ("air", "Travel moves", False),
    ("holes", "Holes", True),
    ("tabs", "Tabs", True),
    ("clamps", "Clamps", True),
    ("windows", "Machine travel", True),
    ("zero", "Work zero, Z touch", True),
    ("names", "Board names", True),
    ("joins", "Joins", True),
    ("registration", "Registration", True),
    ("verniers", "Verniers", True),
    ("restarts", "Restart points", False),
    ("findings", "Findings", True),
)
"""Layers that can be switched: key, words, whether it is on at first."""

SCRIPTS = (
    "read.js", "view.js", "clock.js", "paint.js", "paths.js", "marks.js", "signs.js", "gaps.js",
    "point.js", "restarts.js", "differences.js", "nets.js", "overlay.js", "lists.js", "find.js",
    "controls.js", "input.js", "joins.js", "slide.js", "mill.js", "depth.js",
    "page.js",
)  # fmt: skip
"""The script's parts, in the order they have in the page."""

DEPTH_SCRIPTS = ("section.js", "profile.js", "tilt.js", "depth_panel.js")
"""Parts of the depth view, which the page runs once it is wanted."""


@dataclass(frozen=True, slots=True)
class Review:
    """What the template puts into the page.

    Attributes:
        data: JSON that holds no character of HTML.
        depth: the script of the depth view, text in the page until it is wanted.
        policy: content security policy: these scripts and nothing from elsewhere.
        drawn: whether there is a blank to draw.
    """

    data: str
    style: str
    script: str
    depth: str
    policy: str
    drawn: bool


def review(cut_set: CutSet, *, refused: bool = False, unread: bool = False) -> Review:
    """The review of a set."""
    script, depth, style = _script(), _depth_script(), _style()
    return Review(
        data=to_script_json(
            {**scene_data(cut_set, refused=refused, unread=unread), "colours": screen_colours()}
        ),
        style=style,
        script=script,
        depth=depth,
        policy=(
            f"default-src 'none'; script-src {_digest(script)} {_digest(depth)}; "
            f"style-src {_digest(style)}; img-src data:; base-uri 'none'; form-action 'none'"
        ),
        drawn=bool(cut_set.blanks),
    )


def to_script_json(value: Any) -> str:
    """JSON that may be in a script element: nothing in it can end the element.

    Raises:
        ValueError: for numbers JSON does not have.
    """
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    for letter in "<>&":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def _digest(text: str) -> str:
    """How a content security policy names a script or style by its own bytes."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def part(name: str) -> str:
    """A file of the page."""
    return files("millprep.report").joinpath("page", name).read_text(encoding="utf-8")


@dataclass(frozen=True, slots=True)
class Compiled:
    """The template as an earlier run compiled it; jinja compares its text with what is here."""

    results: Cache

    def get(self, key: str) -> bytes:
        """What is kept under a key; nothing when there is none."""
        return self.results.read(self.results.key("template", key)) or b""

    def set(self, key: str, value: bytes, timeout: int | None = None) -> None:  # noqa: ARG002
        """Keep it."""
        self.results.write(self.results.key("template", key), value)


def _script() -> str:
    """All parts as one function, so that no name of theirs meets one of the browser's."""
    return '"use strict";\n(() => {\n' + "".join(part(name) for name in SCRIPTS) + "})();\n"


def _depth_script() -> str:
    """A function that takes what it shares with the other script and gives the panel."""
    parts = "".join(part(name) for name in DEPTH_SCRIPTS)
    head = '"use strict";\nwindow.millprepDepth = (page) => {\n'
    return f"{head}{parts}return depthPanel(page);\n}};\n"


def _style() -> str:
    light, dark = (style_variables(scheme(name)) for name in SCHEMES)
    return (
        f":root {{ {light}; color-scheme: light }}\n"
        f'@media screen {{ [data-light="dark"] {{ {dark}; color-scheme: dark }} }}\n'
        + part("review.css")
        + part("plan.css")
    )


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
        "cutters": [cutter_data(cutter) for cutter in ordered_cutters(cut_set)],
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
            hole_data(blank.number, cutters, hole)
            for blank in cut_set.blanks
            for hole in (*blank.cuts.holes, *blank.registration)
        ],
        "tabs": tabs_data(cut_set),
        "passes": [pass_data(milling_pass) for milling_pass in cut_set.passes],
        "registration": [
            {"blank": p.blank, **registration_data(hole)}
            for p in cut_set.passes
            for hole in p.registration
        ],
        "clamps": [
            {"box": [figure(v) for v in c.box.bounds], "height": figure(c.height),
             "passes": None if c.passes is None else list(c.passes)}
            for c in cut_set.clamps
        ],
        "joins": [join_data(join) for join in cut_set.joins],
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
        "legend": legend_data(placement),
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
