"""The walk from drawing files to a board, top to bottom."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from millprep.drawing import copper, doubts, hole_marks, selection, unused
from millprep.drawing.dxf.changes import check_accepted
from millprep.drawing.gather import Walked, folded, gather
from millprep.drawing.ledger import Ledger
from millprep.drawing.marks.chain import TOLERANCE, chain
from millprep.drawing.marks.mark import Curve, Mark, Round, Stroke, Words
from millprep.drawing.marks.neighbours import TooMuchError
from millprep.drawing.marks.stroke import Bore
from millprep.drawing.outline import outline
from millprep.drawing.texts import legend_of
from millprep.model.board import Board, CopperPiece, Lettering
from millprep.model.finding import Finding, Refusal
from millprep.model.job.layers import CopperMode, LayerRoles, Unit


def read_board(
    file: Path,
    *,
    name: str,
    shown_as: str,
    layers: LayerRoles,
    job_unit: Unit | None,
    outline_file: Path | None = None,
    holes_files: tuple[Path, ...] | None = None,
    repair: bool = False,
    accepted: tuple[str, ...] = (),
    walked: Walked | None = None,
) -> tuple[Board, Ledger]:
    """A board and the ledger of every entity; see `millprep.drawing.read`."""
    ledger = Ledger(name, shown_as)
    stated = layers.outline_box is not None or layers.outline_margin is not None
    if stated and (layers.outline or outline_file):
        ledger.stop(
            "outline-twice",
            "the job gives the outline as a layer and as a size",
            "keep one of them",
        )
    selection.check(layers.selections, ledger)
    by_file = roles_by_file(file, outline_file, holes_files, sized=stated)
    by_layer: dict[str, list[Mark]] = {}
    keys: dict[str, list[str]] = {"copper": [], "outline": [], "holes": []}
    findings: list[Finding] = list(ledger.take())
    first = 0
    notes: list[Lettering] = []
    aside: Callable[[], Iterable[Mark]] = list
    for number, (path, roles) in enumerate(by_file.items()):
        ledger.shown_as = path.name if number else shown_as
        part = part_of(layers, roles)
        needed = tuple(r for r in roles if r != "holes" or roles == ["holes"])
        try:
            units = units_of(layers, roles, job_unit)
            known = walked if path == file else None
            sheet = gather(path, part, needed, units, ledger, first, repair, accepted, known)
        except Refusal as refusal:
            findings += refusal.findings
            ledger.take()
            continue
        except MemoryError:
            ledger.stop("drawing-too-large", "its shapes do not fit into memory", "draw less")
            findings += ledger.take()
            continue
        first += sheet.entities
        notes += sheet.notes
        by_layer |= {_key(number, layer): marks for layer, marks in sheet.by_layer.items()}
        if "copper" in roles:
            aside = sheet.unused
        for role in roles:
            names = folded(getattr(part, role))
            if sheet.layer is not None and role == needed[0]:
                names = [sheet.layer]
            keys[role] += [_key(number, layer) for layer in names]
    ledger.shown_as = shown_as
    if not any(finding.code in _UNOPENED for finding in findings):
        check_accepted(accepted, ledger.changed, ledger)
        findings += ledger.take()
    if findings:
        raise Refusal(findings, exit_code=3)
    board = None
    try:
        reading = _Reading(by_layer, keys, layers, ledger, notes)
        board = reading.board(name)
        if board is not None:
            more = unused.findings(aside(), reading.circles, board)
            board = replace(board, doubts=(*board.doubts, *more))
            _check_parts(board, layers.parts, ledger)
    except TooMuchError as fault:
        ledger.stop("drawing-too-large", str(fault), "draw every shape once")
    except (MemoryError, shapely.GEOSException) as fault:
        if not isinstance(fault, MemoryError) and "bad_alloc" not in str(fault):
            raise
        ledger.stop("drawing-too-large", "its shapes do not fit into memory", "draw less")
    ledger.refuse_if_stopped()
    assert board is not None
    return board, ledger


def _check_parts(board: Board, parts: tuple[str, ...], ledger: Ledger) -> None:
    """Layers that are to name parts, and hold no text, are a fault."""
    layers = {text.layer for text in (*board.lettering, *board.notes) if text.layer}
    known = {layer.casefold() for layer in layers}
    for wanted in parts:
        if wanted.casefold() not in known:
            shown = ", ".join(repr(layer) for layer in sorted(layers)[:12])
            ledger.stop(
                "parts-empty",
                f"no text is drawn on layer {wanted!r} (layers.parts)",
                f"name one that has texts: {shown}" if layers else "no layer of it has any text",
            )


def roles_by_file(
    file: Path, outline_file: Path | None, holes_files: tuple[Path, ...] | None, *, sized: bool
) -> dict[Path, list[str]]:
    """What each file of a board draws; with `sized` the job gives the outline as a size."""
    roles: dict[Path, list[str]] = {file: ["copper"]}
    if outline_file is not None or not sized:
        roles.setdefault(outline_file or file, []).append("outline")
    for other in (file,) if holes_files is None else dict.fromkeys(holes_files):
        roles.setdefault(other, []).append("holes")
    return roles


def units_of(
    layers: LayerRoles, roles: list[str], job_unit: Unit | None
) -> tuple[str, Unit | None, Unit | None]:
    """The key for the unit of a file with these roles, what it gives, and what counts else."""
    if "copper" in roles:
        return "unit", job_unit, None
    if "outline" in roles:
        return "outline_unit", layers.outline_unit or layers.holes_unit, job_unit
    return "holes_unit", layers.holes_unit, job_unit


def part_of(layers: LayerRoles, roles: list[str]) -> LayerRoles:
    """The layers and selections of one file.

    A selection is made in the files that draw its role, and one without a role in all of them.
    """
    part = replace(
        layers,
        copper=layers.copper if "copper" in roles else (),
        outline=layers.outline if "outline" in roles else (),
        holes=layers.holes if "holes" in roles else (),
        legend=layers.legend if "copper" in roles else (),
    )
    here = {*part.copper, *part.outline, *part.holes}
    elsewhere = {*layers.copper, *layers.outline, *layers.holes} - here
    only_elsewhere = set(folded(tuple(elsewhere))) - set(folded(tuple(here)))
    return replace(
        part,
        selections=tuple(
            chosen for chosen in layers.selections if chosen.name.casefold() not in only_elsewhere
        ),
    )


_UNOPENED = frozenset(
    {"drawing-missing", "drawing-unreadable", "drawing-empty", "drawing-too-large"}
    | {"drawing-not-dxf", "drawing-entities-lost", "entity-damaged", "statement-unreadable"}
)
"""Refusals after which it is not known what mending would change."""


def _key(number: int, layer: str) -> str:
    """Layers of further files are distinguished by the file's number."""
    return f"{number}:{layer}" if number else layer


class _Reading:
    """Roles played by marks: outline, copper, holes, lettering."""

    def __init__(
        self,
        by_layer: dict[str, list[Mark]],
        keys: dict[str, list[str]],
        roles: LayerRoles,
        ledger: Ledger,
        notes: list[Lettering],
    ) -> None:
        self.by_layer, self.ledger, self.notes = by_layer, ledger, notes
        self.roles = roles
        self.modes: dict[str, set[CopperMode]] = {}
        for layer, mode in roles.copper_modes:
            self.modes.setdefault(layer.casefold(), set()).add(mode)
        self.widths = {layer.casefold(): width for layer, width in roles.line_widths}
        self.copper = keys["copper"]
        self.outline = keys["outline"]
        self.holes = keys["holes"]
        self.circles: list[Bore] = []  # drawn on copper layers

    def board(self, name: str) -> Board | None:
        """The board, or None with the faults in the ledger."""
        edge: shapely.Polygon | None = None
        bores: list[Bore] = []
        if self.outline:
            edge, circles = outline(
                [m for layer in self.outline for m in self._shapes(layer)],
                self.ledger,
                circles_are_holes=bool(set(self.outline) & set(self.holes)),
                tolerance=max(TOLERANCE, self.roles.close_gaps),
                pen=self.roles.outline_pen,
            )
            bores += circles
        areas = []
        shared: list[Bore] = []
        for layer in self.copper:
            mode = copper.Mode(frozenset(self.modes.get(layer, ())), self.widths.get(layer))
            bold, loops = copper.lines(self._shapes(layer), mode, self.ledger)
            self.circles += [loop.round for loop in loops if loop.round is not None]
            if layer in self.holes:
                loops, small = doubts.split_shared(loops, self.ledger)
                bores += small
                shared += small
                self._dots(bold, bores)
            areas += copper.parts(bold, loops, mode, self.ledger)
        openings: list[shapely.Polygon] = []
        for layer in self.holes:
            if layer not in self.copper and layer not in self.outline:
                marks, bent = hole_marks.routed(self._shapes(layer), self.ledger)
                openings += bent
                bores += hole_marks.rounds(marks, self._hole_loops(marks), self.ledger)
        lettering = self._lettering()
        if self.ledger.stopped:
            return None
        shapes = copper.pieces(areas)
        if not shapes:
            self.ledger.stop(
                "copper-empty",
                "the copper layers hold no copper",
                "name the layer that holds tracks and pads",
            )
            return None
        bores = doubts.settled(bores, self.ledger)
        if self.ledger.stopped:
            return None
        shapes = copper.sorted_reading(hole_marks.close_drilled(shapes, bores))
        pieces = tuple(CopperPiece(f"c{i + 1}", shape) for i, shape in enumerate(shapes))
        if edge is not None and self._in_cut_outs(edge, shapes):
            return None
        edge = edge or self._stated_edge(shapes)
        edge = hole_marks.opened(edge, openings, shapes, self.ledger)
        if self.ledger.stopped:
            return None
        board_holes = hole_marks.holes(bores, pieces)
        hole_marks.lone_faults(board_holes, shared, pieces, self.ledger)
        # before what is left out is counted: a legend uses texts, and leaves filled areas
        legend = legend_of(self.by_layer, self.roles.legend, self.ledger)
        return Board(
            name,
            edge,
            pieces,
            board_holes,
            lettering,
            self.ledger.left_out(),
            tuple(self.ledger.repairs),
            tuple(self.notes),
            tuple(self.ledger.warnings),
            legend=legend,
        )

    def _in_cut_outs(self, edge: shapely.Polygon, shapes: list[shapely.Polygon]) -> bool:
        """Whether a cut-out would take pieces of copper away whole."""
        tree = shapely.STRtree([shape.representative_point() for shape in shapes])
        for ring in edge.interiors:
            cut = shapely.Polygon(ring)
            inside = [
                shapes[k]
                for k in sorted(tree.query(cut, predicate="contains").tolist())
                if shapely.intersection(shapes[k], cut).area > shapes[k].area / 2
            ]
            if not inside:
                continue
            x0, y0, x1, y1 = cut.bounds
            at = inside[0].representative_point()
            self.ledger.stop(
                "copper-in-cut-out",
                f"the line on the outline layers from ({x0:.3f}, {y0:.3f}) to ({x1:.3f}, {y1:.3f}) "
                f"lies within the board's edge, so it is a cut-out, but copper lies in it: "
                f"{len(inside)} of {len(shapes)} pieces",
                "leave only the board's edge and its cut-outs on the outline layers",
                at=(at.x, at.y),
            )
        return self.ledger.stopped

    def _stated_edge(self, shapes: list[shapely.Polygon]) -> shapely.Polygon:
        """The rectangle that the job gives, or the copper's box with a margin."""
        if self.roles.outline_box is not None:
            return shapely.box(*self.roles.outline_box)
        margin = self.roles.outline_margin or 0.0
        x0, y0, x1, y1 = shapely.MultiPolygon(shapes).bounds
        return shapely.box(x0 - margin, y0 - margin, x1 + margin, y1 + margin)

    def _shapes(self, layer: str) -> list[Mark]:
        return [m for m in self.by_layer.get(layer, []) if not isinstance(m, Words)]

    def _dots(self, marks: Sequence[Mark], drilled: list[Bore]) -> None:
        """On a shared layer a ring's inside is the drill; the ring itself stays copper."""
        for mark in marks:
            if isinstance(mark, Stroke) and mark.widths.any() and mark.to_mm.even:
                circle = mark.curve.round
                if circle is not None and not np.ptp(mark.widths) > 0:
                    inner = circle.diameter - float(mark.widths[0]) * mark.to_mm.stretch[0]
                    if inner > 1e-6 * circle.diameter:
                        drilled.append(Round(circle.at, inner))
                        self.ledger.use(mark.source, "holes")

    def _hole_loops(self, marks: list[Mark]) -> list[Any]:
        curves = [
            m if isinstance(m, Curve) else m.curve
            for m in marks
            if isinstance(m, Curve) or (isinstance(m, Stroke) and not m.widths.any())
        ]
        chained = chain(curves)
        for source in chained.repeated:
            self.ledger.leave(source, "it is drawn twice or encloses nothing")
        hole_marks.left_open(chained.opened, self.ledger)
        return chained.loops

    def _lettering(self) -> tuple[Lettering, ...]:
        out = []
        for layer, marks in self.by_layer.items():
            for mark in marks:
                if not isinstance(mark, Words):
                    continue
                if layer in self.copper:
                    self.ledger.leave(mark.source, "lettering is not cut")
                    out.append(replace(mark.text, layer=mark.source.layer))
                else:
                    self.ledger.leave(mark.source, "it is text")
                    self.notes.append(replace(mark.text, layer=mark.source.layer))
        return tuple(out)
