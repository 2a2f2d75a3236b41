"""How large a board is, and its gaps and holes, before its job is written."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from millprep.model.finding import Finding, Refusal

if TYPE_CHECKING:
    import shapely

    from millprep.cli.answers import Answers
    from millprep.drawing.survey.candidates import Candidate
    from millprep.drawing.survey.survey import Survey
    from millprep.job import Start
    from millprep.model.board import Board
    from millprep.model.job.layers import LayerRoles, Unit


def measured(start: Start, survey: Survey, answers: Answers) -> tuple[Start, Sequence[Finding]]:
    """Sizes by the reader where the job could be read, else by the survey."""
    unread = [
        name
        for name in start.open
        if name.startswith("layers.") or name.endswith("_unit") or name == "outline_pen"
    ]
    if survey.mixed and "layers.modes" in unread:
        mixed = Finding(code="copper-mixed", severity="stop", message=survey.mixed + ".")
        return _by_survey(start, survey), (mixed,)
    if survey.unit_mm is not None and not unread:
        try:
            return _by_reading(start, _read(start.roles, survey, answers)), ()
        except Refusal as refusal:
            return _by_survey(start, survey), refusal.findings
    return _by_survey(start, survey), ()


def _read(roles: LayerRoles, survey: Survey, answers: Answers) -> Board:
    from millprep import drawing

    if (
        not roles.outline
        and answers.outline is None
        and roles.outline_box is None
        and roles.outline_margin is None
    ):
        roles = replace(roles, outline_margin=1.0)
    return drawing.read(
        answers.drawing,
        name="board",
        shown_as=answers.drawing.name,
        layers=roles,
        unit=answers.unit,
        outline_file=answers.outline,
        holes_files=answers.holes or (() if survey.kind != "DXF" else None),
        repair=answers.repair,
        walked=survey.walked,
    )


def _by_reading(start: Start, board: Board) -> Start:
    import shapely

    from millprep.drawing.marks.neighbours import narrowest

    x0, y0, x1, y1 = board.outline.bounds
    gap, _ = narrowest([piece.shape for piece in board.pieces])
    return replace(
        start,
        size=(max(x1 - x0, 1.0), max(y1 - y0, 1.0)),
        narrowest=gap,
        diameters=[hole.diameter for hole in board.holes if hole.end is None],
        slots=[hole.diameter for hole in board.holes if hole.end is not None],
        cut_outs=[_width(shapely.Polygon(ring)) for ring in board.outline.interiors],
    )


def _width(area: shapely.Polygon) -> float:
    """Diameter of the largest circle in an area."""
    import shapely

    return 2 * float(shapely.maximum_inscribed_circle(area, tolerance=1e-3).length)


def _by_survey(start: Start, survey: Survey) -> Start:
    """Of the layers with a role; where no unit is known, in the one that the holes fit best."""
    from millprep.drawing.marks.stroke import Slot
    from millprep.drawing.survey.layer_facts import joined
    from millprep.drawing.unit import MM, best

    likely = best(survey.units)
    assumed: Unit | None = None
    mm = 1.0
    if survey.unit_mm is None:
        assumed = likely.unit if likely is not None else "mm"
        mm = MM[assumed]
    roles = start.roles
    drawn = [la.box for la in survey.layers if la.name in (roles.outline or roles.copper)]
    x0, y0, x1, y1 = joined(drawn) or survey.box or (0.0, 0.0, 10.0, 10.0)
    copper = [
        c
        for c in candidates_of(survey, roles.copper)
        if c.role == "copper" and c.reads and (start.needs_mode or not c.stated)
    ]
    gaps = [c.gap for c in copper if c.gap is not None]
    # where no layer is settled for the holes: those that hold nothing else
    picked = candidates_of(survey, roles.holes)
    if not roles.holes:
        every = candidates_of(survey, [layer.name for layer in survey.layers])
        picked = [*(c for c in every if c.role == "holes"), *copper]
    # all readings of a copper layer have the same holes
    readings = {c.drills: c for c in picked if c.bores and (c.own_holes or c.role == "holes")}
    bores = [bore for reading in readings.values() for bore in reading.bores]
    # a board whose edge is not drawn takes the margin that is given, or that is likely
    margin = 1.0 if start.roles.outline_margin is None else start.roles.outline_margin
    more = 0.0 if start.roles.outline else 2 * margin
    size = ((x1 - x0) * mm + more, (y1 - y0) * mm + more)
    if start.roles.outline_box is not None:
        x0, y0, x1, y1 = start.roles.outline_box
        size = (x1 - x0, y1 - y0)
    return replace(
        start,
        size=(max(size[0], 1.0), max(size[1], 1.0)),
        narrowest=min(gaps) * mm if gaps else None,
        diameters=[bore.diameter * mm for bore in bores if not isinstance(bore, Slot)],
        slots=[bore.diameter * mm for bore in bores if isinstance(bore, Slot)],
        assumed=assumed,
    )


def candidates_of(survey: Survey, layers: Sequence[str]) -> list[Candidate]:
    """What these layers may be."""
    return [c for la in survey.layers if la.name in layers for c in la.candidates]
