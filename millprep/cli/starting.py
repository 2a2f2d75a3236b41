"""From a survey and a person's answers to what a starter job is written from."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from millprep.cli.surveys import holes_words, modes_words, pieces_words, readings_words
from millprep.model.finding import Finding, Refusal

if TYPE_CHECKING:
    from millprep.drawing.survey.candidates import Candidate
    from millprep.drawing.survey.survey import Survey
    from millprep.drawing.unit import UnitReading
    from millprep.job import Start
    from millprep.model.board import Board
    from millprep.model.job.layers import DrawnFrom, LayerRoles, Unit

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Answers:
    """What the person answered; `folder` is where the job will lie."""

    drawing: Path
    folder: Path
    unit: Unit | None = None
    drawn_from: DrawnFrom | None = None
    margin: float | None = None
    box: Box | None = None
    outline: Path | None = None
    holes: tuple[Path, ...] = ()
    repair: bool = False
    region: Box | None = None
    outline_unit: Unit | None = None
    holes_unit: Unit | None = None


def begin(survey: Survey, answers: Answers) -> tuple[Start, Sequence[Finding]]:
    """All that a starter job is written from, and why the drawing is refused as it is.

    Raises:
        Refusal: when a further drawing cannot be surveyed.
    """
    from millprep.job import Start
    from millprep.model.job.layers import LayerRoles

    roles = survey.roles or LayerRoles((), survey.edge, ())
    choices: dict[str, list[str]] = {}
    unlayered = set()
    if survey.kind != "DXF":
        unlayered = {"copper"} if answers.holes else {"copper", "holes"}
        roles = LayerRoles((), (), ())
    else:
        choices["copper"] = _copper(survey, roles)
    if not roles.holes and not answers.holes and survey.kind == "DXF":
        choices["holes"] = holes_words(survey, roles)
    if not roles.outline and survey.kind == "DXF":
        choices["outline"] = _edges(survey)
    gaps = _gaps(survey) if roles.outline else []
    pen = _pen(survey, roles.outline)
    close = _up(survey.close_gaps) if gaps and survey.unit_mm is not None else 0.0
    roles = replace(roles, close_gaps=close)
    if answers.margin is not None or answers.box is not None or answers.outline is not None:
        roles = replace(roles, outline=(), close_gaps=0.0)
        gaps, choices["outline"], pen = [], [], False
    roles = replace(roles, outline_margin=answers.margin, outline_box=answers.box)
    roles = replace(roles, selections=survey.selections)
    units: dict[str, tuple[Unit | None, Sequence[str]]] = {}
    if answers.outline is not None:
        outline_survey = _other(
            answers.outline, answers.outline_unit, "outline_unit", answers, units
        )
        names = _playing(outline_survey, "outline")
        gaps = _gaps(outline_survey) if len(names) == 1 else []
        pen = len(names) == 1 and _pen(outline_survey, names)
        close = _up(outline_survey.close_gaps) if gaps and survey.unit_mm is not None else 0.0
        roles = replace(roles, close_gaps=close)
        if outline_survey.kind != "DXF":
            unlayered.add("outline")
        else:
            roles = replace(roles, outline=names if len(names) == 1 else ())
            choices["outline"] = _of(answers.outline, names)
    if answers.holes:
        layered = _layers_of_holes(answers, units)
        names = tuple(dict.fromkeys(name for _, mine in layered for name in mine))
        roles = replace(roles, holes=names)
        choices["holes"] = [line for file, mine in layered for line in _of(file, mine)]
        if not layered:
            unlayered.add("holes")
    given = {key: value for key, (value, _) in units.items()}
    roles = replace(
        roles, outline_unit=given.get("outline_unit"), holes_unit=given.get("holes_unit")
    )
    start = Start(
        drawing=shown(answers.drawing, answers.folder),
        roles=roles,
        size=(10.0, 10.0),
        drawn_from=answers.drawn_from or _seen_from(survey),
        unit=answers.unit,
        unit_stated=survey.stated,
        unit_words=[_unit_line(unit) for unit in survey.units],
        other_units={key: words for key, (value, words) in units.items() if value is None},
        outline_drawing=shown(answers.outline, answers.folder) if answers.outline else None,
        holes_drawings=[shown(file, answers.folder) for file in answers.holes],
        unlayered=frozenset(unlayered),
        needs_mode={name: readings_words(survey, name) for name in survey.needs_mode},
        needs_width=survey.needs_width,
        choices=choices,
        gaps=gaps,
        pen=pen,
        repairs=survey.repairs,
    )
    return _measured(start, survey, answers)


def _layers_of_holes(
    answers: Answers, units: dict[str, tuple[Unit | None, Sequence[str]]]
) -> list[tuple[Path, tuple[str, ...]]]:
    """The DXF files among those of the holes, each with the layers that could be them."""
    known = [_other(f, answers.holes_unit, "holes_unit", answers, units) for f in answers.holes]
    return [
        (file, _playing(survey, "holes"))
        for file, survey in zip(answers.holes, known, strict=True)
        if survey.kind == "DXF"
    ]


def _seen_from(survey: Survey) -> DrawnFrom | None:
    """What a Gerber file says of its side: its layers are all drawn as seen from the top."""
    if survey.function[:1] != ("Copper",):
        return None
    sides: dict[str, DrawnFrom] = {"Bot": "components", "Top": "copper"}
    return sides.get(survey.function[-1])


def _other(
    file: Path,
    given: Unit | None,
    key: str,
    answers: Answers,
    units: dict[str, tuple[Unit | None, Sequence[str]]],
) -> Survey:
    """The survey of a further drawing; where it states no unit, `units` takes the answer to it."""
    from millprep.drawing.survey.survey import survey_file

    survey = survey_file(file, given, answers.repair)
    if survey.stated:
        return survey
    known = given or answers.unit
    units[key] = (known, [_unit_line(unit) for unit in survey.units])
    return survey if known == given else survey_file(file, known, answers.repair)


def _measured(start: Start, survey: Survey, answers: Answers) -> tuple[Start, Sequence[Finding]]:
    """Sizes by the reader where the job could be read, else by the survey."""
    unread = [
        name
        for name in start.open
        if name.startswith("layers.") or name.endswith("_unit") or name == "outline_pen"
    ]
    if survey.unit_mm is not None and not unread:
        try:
            layerless = survey.kind != "DXF"
            return _by_reading(start, _read(start.roles, answers, layerless)), ()
        except Refusal as refusal:
            return _by_survey(start, survey), refusal.findings
    return _by_survey(start, survey), ()


def _read(roles: LayerRoles, answers: Answers, layerless: bool) -> Board:
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
        holes_files=answers.holes or (() if layerless else None),
        repair=answers.repair,
    )


def _by_reading(start: Start, board: Board) -> Start:
    from millprep.drawing.marks.neighbours import narrowest

    x0, y0, x1, y1 = board.outline.bounds
    gap, _ = narrowest([piece.shape for piece in board.pieces])
    return replace(
        start,
        size=(max(x1 - x0, 1.0), max(y1 - y0, 1.0)),
        narrowest=gap,
        diameters=[hole.diameter for hole in board.holes if hole.end is None],
        slots=[hole.diameter for hole in board.holes if hole.end is not None],
    )


def _by_survey(start: Start, survey: Survey) -> Start:
    """Of the layers with a role; where no unit is known, in the one that the holes fit best."""
    from millprep.drawing.marks.slot import Slot
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
        for c in _candidates(survey, roles.copper)
        if c.role == "copper" and c.reads and (start.needs_mode or not c.stated)
    ]
    gaps = [c.gap for c in copper if c.gap is not None]
    # where no layer is settled for the holes: those that hold nothing else
    picked = _candidates(survey, roles.holes)
    if not roles.holes:
        every = _candidates(survey, [layer.name for layer in survey.layers])
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


def _candidates(survey: Survey, layers: Sequence[str]) -> list[Candidate]:
    return [c for la in survey.layers if la.name in layers for c in la.candidates]


def _playing(survey: Survey, role: str) -> tuple[str, ...]:
    """Layers that could have a role in a drawing given for it."""
    return tuple(
        layer.name
        for layer in survey.layers
        if any(c.role == role and (c.reads or c.close_gaps or c.pen) for c in layer.candidates)
    )


def _of(file: Path, names: Sequence[str]) -> list[str]:
    listed = ", ".join(names)
    return [f"Of {file.name}: {listed}."] if names else [f"No layer of {file.name} could be it."]


def _copper(survey: Survey, roles: LayerRoles) -> list[str]:
    """Every layer that could be copper and has no role, and what the job must say to read it."""
    lines = []
    for layer in survey.layers:
        some = [candidate for candidate in layer.candidates if candidate.role == "copper"]
        if not some or layer.name in (*roles.copper, *roles.outline, *roles.holes):
            continue
        taken = next((c for c in some if c.reads and not c.stated), None)
        if taken is not None:
            lines.append(f"  {layer.name}: {taken.reason}; {pieces_words(taken, survey)}")
            continue
        lines.append(f"  {layer.name}: {some[0].reason}; it needs one of")
        lines += [f"    layers.modes: {words}" for words in modes_words(survey, layer.name)]
        lines += [
            f"    layers.widths: {candidate.reason}" for candidate in some if candidate.needs_width
        ]
    if not lines:
        return []
    head = "These could be copper too; add those of this side:"
    if not roles.copper:
        head = ">>> Name the copper's layers. These could be copper:"
    return [head, *lines]


def _edges(survey: Survey) -> list[str]:
    """What could be the outline, where that is not settled."""
    return [
        f"{layer.name} could be the outline"
        for layer in survey.layers
        for candidate in layer.candidates
        if candidate.role == "outline" and candidate.pieces
    ]


def _unit_line(unit_reading: UnitReading) -> str:
    x, y = unit_reading.size
    words = f"{unit_reading.unit}: {x:.2f} × {y:.2f} mm"
    if unit_reading.share is None:
        return words
    return f"{words}, {unit_reading.share:.0%} of the holes are drill sizes {unit_reading.series}"


def _gaps(survey: Survey) -> list[str]:
    return [
        f"{at[0]:.3f}, {at[1]:.3f}: {size:.4f} mm"
        for layer in survey.layers
        for candidate in layer.candidates
        if candidate.role == "outline" and candidate.close_gaps
        for at, size in candidate.gaps
    ]


def _pen(survey: Survey, names: Sequence[str]) -> bool:
    """Whether the outline on these layers is drawn as both rims of a pen's line."""
    return any(c.role == "outline" and c.pen for c in _candidates(survey, names))


def _up(value: float) -> float:
    return round(value + 0.0049, 2)


def shown(file: Path, folder: Path) -> str:
    """The path of a file as seen from the folder where the job will lie."""
    try:
        return Path(os.path.relpath(file, folder)).as_posix()
    except ValueError:  # another drive
        return file.resolve().as_posix()
