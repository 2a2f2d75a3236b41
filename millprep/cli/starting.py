"""From a survey and a person's answers to what a starter job is written from."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from millprep.cli.answers import spelt
from millprep.cli.inspect import (
    holes_words,
    modes_words,
    part_names_words,
    pieces_words,
    readings_words,
)
from millprep.cli.starting_sizes import candidates_of, measured
from millprep.model.finding import Finding

if TYPE_CHECKING:
    from millprep.cli.answers import Answers
    from millprep.drawing.survey.candidates import Candidate
    from millprep.drawing.survey.survey import Survey
    from millprep.drawing.unit import UnitReading
    from millprep.job import Start
    from millprep.model.job.layers import DrawnFrom, LayerRoles, Unit


def begin(survey: Survey, answers: Answers) -> tuple[Start, Sequence[Finding]]:
    """All that a starter job is written from, and why the drawing is refused as it is.

    Raises:
        Refusal: when a further drawing cannot be surveyed.
    """
    from millprep.job import Start

    roles, needs_mode, needs_width = _layers(survey, answers)
    choices: dict[str, list[str]] = {}
    unlayered = set()
    layered = survey.kind == "DXF"
    if not layered:
        unlayered = {"copper"} if answers.holes else {"copper", "holes"}
    else:
        choices["copper"] = [] if answers.copper else _copper(survey, roles)
    if not roles.holes and answers.hole_layers is None and not answers.holes and layered:
        choices["holes"] = holes_words(survey, roles)
    units: dict[str, tuple[Unit | None, Sequence[str]]] = {}
    edge_survey, edge = _edge_of(survey, roles, answers, units)
    if answers.outline is not None and edge_survey.kind != "DXF":
        unlayered.add("outline")
    elif answers.outline is not None:
        choices["outline"] = _of(answers.outline, _playing(edge_survey, "outline"))
    elif not edge and layered and answers.margin is None and answers.box is None:
        choices["outline"] = _edges(survey)
    readings = [c for c in candidates_of(edge_survey, edge) if c.role == "outline"]
    gaps = [] if answers.pen or answers.close_gaps is not None else _gaps(readings)
    closing = max((c.close_gaps for c in readings if c.close_gaps), default=0.0)
    known = gaps and survey.unit_mm is not None
    given = (answers.close_gaps or 0.0) if edge or edge_survey.kind != "DXF" else 0.0
    roles = replace(
        roles,
        outline=edge if edge_survey.kind == "DXF" else (),
        close_gaps=_up(closing) if known else given,
        outline_margin=answers.margin,
        outline_box=answers.box,
        outline_pen=answers.pen if edge else None,
        selections=survey.selections,
    )
    if answers.holes:
        of_holes = _layers_of_holes(answers, units)
        names = tuple(dict.fromkeys(name for _, mine in of_holes for name in mine))
        roles = replace(roles, holes=answers.hole_layers or names)
        choices["holes"] = [line for file, mine in of_holes for line in _of(file, mine)]
        if not of_holes:
            unlayered.add("holes")
    stated = {key: value for key, (value, _) in units.items()}
    roles = replace(
        roles, outline_unit=stated.get("outline_unit"), holes_unit=stated.get("holes_unit")
    )
    parts = spelt(survey, "--parts-layer", answers.parts or ())
    lettered = {la.name: part_names_words(la.part_names) for la in survey.layers if la.part_names}
    roles = replace(roles, parts=parts)
    start = Start(
        drawing=shown(answers.drawing, answers.folder),
        roles=roles,
        size=(10.0, 10.0),
        count=answers.count,
        drawn_from=answers.drawn_from or _seen_from(survey) or answers.usual,
        unit=answers.unit,
        unit_stated=survey.stated,
        unit_words=[_unit_line(unit) for unit in survey.units],
        other_units={key: words for key, (value, words) in units.items() if value is None},
        outline_drawing=shown(answers.outline, answers.folder) if answers.outline else None,
        holes_drawings=[shown(file, answers.folder) for file in answers.holes],
        unlayered=frozenset(unlayered),
        needs_mode={name: readings_words(survey, name) for name in needs_mode},
        needs_width=needs_width,
        choices=choices,
        gaps=[] if known and answers.closed else gaps,
        pens=next((c.pens for c in readings if c.pens and roles.outline_pen is None), ()),
        repairs=survey.repairs,
        part_names=lettered if answers.parts is None and layered else {},
    )
    return measured(start, survey, answers)


def _layers(
    survey: Survey, answers: Answers
) -> tuple[LayerRoles, tuple[str, ...], tuple[str, ...]]:
    """Roles as guessed or answered, and copper layers whose mode, or whose width, is open."""
    from millprep.model.job.layers import LayerRoles

    if survey.kind != "DXF":
        return LayerRoles((), (), ()), (), ()
    roles = survey.roles or LayerRoles((), survey.edge, ())
    needs_mode, needs_width = list(survey.needs_mode), list(survey.needs_width)
    copper = spelt(survey, "--copper-layer", answers.copper)
    if copper:
        outline = tuple(name for name in roles.outline if name not in copper)
        roles = replace(
            roles, copper=copper, copper_modes=(), outline=outline, holes=_holes(survey, copper)
        )
        needs_mode, needs_width = [], []
        for name in copper:
            readings = [c for c in candidates_of(survey, [name]) if c.role == "copper"]
            if readings and readings[0].reads and not readings[0].stated:
                modes = tuple((name, m) for m in readings[0].modes if m.endswith("outlines"))
                roles = replace(roles, copper_modes=roles.copper_modes + modes)
            elif any(c.stated and not c.needs_width for c in readings):
                needs_mode.append(name)
            elif readings:
                needs_width.append(name)
    if answers.hole_layers is not None:
        holes = answers.hole_layers
        roles = replace(
            roles, holes=holes if answers.holes else spelt(survey, "--holes-layer", holes)
        )
    given = {name: answers.mode for name in needs_mode if answers.mode} | dict(answers.modes)
    widths = dict(answers.widths)
    if answers.track_width is not None:
        bare = [
            name for name in needs_mode if "strokes" in given.get(name, ()) and _bare(survey, name)
        ]
        widths = dict.fromkeys([*needs_width, *bare], answers.track_width) | widths
    edge = answers.edge if answers.outline else spelt(survey, "--outline-layer", answers.edge)
    roles = replace(
        roles,
        outline=edge or roles.outline,
        copper_modes=roles.copper_modes + tuple((n, m) for n, some in given.items() for m in some),
        line_widths=tuple(widths.items()),
    )
    return (
        roles,
        tuple(name for name in needs_mode if name not in given),
        tuple(name for name in needs_width if name not in widths),
    )


def _bare(survey: Survey, name: str) -> bool:
    """Whether a layer of several readings has lines of no width, and none with a width."""
    some = [c for c in candidates_of(survey, [name]) if c.role == "copper"]
    bold = any("strokes" in c.modes and not c.needs_width for c in some)
    return not bold and any(c.needs_width for c in some)


def _holes(survey: Survey, copper: Sequence[str]) -> tuple[str, ...]:
    """The one layer of nothing but holes, and copper layers whose circles are further holes."""
    alone = [
        layer.name
        for layer in survey.layers
        if layer.name not in copper
        and any(c.role == "holes" and c.reads for c in layer.candidates)
        and not any(c.role == "copper" for c in layer.candidates)
    ]
    if len(alone) > 1:
        return ()
    own = [name for name in copper if any(c.own_holes for c in candidates_of(survey, [name]))]
    if not alone:
        return tuple(own)
    from millprep.drawing.survey.guess import holes_in_pads

    known = {layer.name: layer.candidates for layer in survey.layers}
    return (*alone, *(name for name in own if holes_in_pads(known, name, alone)))


def _edge_of(
    survey: Survey,
    roles: LayerRoles,
    answers: Answers,
    units: dict[str, tuple[Unit | None, Sequence[str]]],
) -> tuple[Survey, tuple[str, ...]]:
    """The survey of the file that draws the edge, and its layers that do."""
    if answers.outline is None:
        given = answers.margin is not None or answers.box is not None
        return survey, () if given else roles.outline
    edge_survey = _other(answers.outline, answers.outline_unit, "outline_unit", answers, units)
    names = _playing(edge_survey, "outline")
    if answers.edge:
        names = spelt(edge_survey, "--outline-layer", answers.edge)
    return edge_survey, names if len(names) == 1 or answers.edge else ()


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
    # Copper,L2,Bot may go on with what kind of copper it is, such as Signal
    if survey.function[:1] != ("Copper",) or len(survey.function) < 3:
        return None
    sides: dict[str, DrawnFrom] = {"Bot": "components", "Top": "copper"}
    return sides.get(survey.function[2])


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


def _playing(survey: Survey, role: str) -> tuple[str, ...]:
    """Layers that could have a role in a drawing given for it."""
    return tuple(
        layer.name
        for layer in survey.layers
        if any(c.role == role and (c.reads or c.close_gaps or c.pens) for c in layer.candidates)
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


def _gaps(readings: Sequence[Candidate]) -> list[str]:
    return [
        f"{at[0]:.3f}, {at[1]:.3f}: {size:.4f} mm"
        for candidate in readings
        if candidate.close_gaps
        for at, size in candidate.gaps
    ]


def _up(value: float) -> float:
    return round(value + 0.0049, 2)


def shown(file: Path, folder: Path) -> str:
    """The path of a file as seen from the folder where the job will lie."""
    try:
        return Path(os.path.relpath(file, folder)).as_posix()
    except ValueError:  # another drive
        return file.resolve().as_posix()
