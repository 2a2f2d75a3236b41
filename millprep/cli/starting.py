"""From a survey and a person's answers to what a starter job is written from."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from millprep.cli.starting_sizes import candidates_of, measured
from millprep.cli.surveys import holes_words, modes_words, pieces_words, readings_words
from millprep.model.finding import Finding

if TYPE_CHECKING:
    from millprep.cli.answers import Answers
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
        choices["copper"] = _copper(survey, roles)
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
    gaps = _gaps(edge_survey) if edge else []
    known = gaps and survey.unit_mm is not None
    roles = replace(
        roles,
        outline=edge if edge_survey.kind == "DXF" else (),
        close_gaps=_up(edge_survey.close_gaps) if known else 0.0,
        outline_margin=answers.margin,
        outline_box=answers.box,
        outline_pen=answers.pen if _pen(edge_survey, edge) else None,
        selections=survey.selections,
    )
    if answers.holes:
        of_holes = _layers_of_holes(answers, units)
        names = tuple(dict.fromkeys(name for _, mine in of_holes for name in mine))
        roles = replace(roles, holes=names)
        choices["holes"] = [line for file, mine in of_holes for line in _of(file, mine)]
        if not of_holes:
            unlayered.add("holes")
    given = {key: value for key, (value, _) in units.items()}
    roles = replace(
        roles, outline_unit=given.get("outline_unit"), holes_unit=given.get("holes_unit")
    )
    start = Start(
        drawing=shown(answers.drawing, answers.folder),
        roles=roles,
        size=(10.0, 10.0),
        count=answers.count,
        drawn_from=answers.drawn_from or _seen_from(survey),
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
        pen=roles.outline_pen is None and _pen(edge_survey, edge),
        repairs=survey.repairs,
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
    if answers.copper:
        roles = replace(roles, copper=answers.copper)
        for name in answers.copper:
            readings = [c for c in candidates_of(survey, [name]) if c.role == "copper"]
            if readings and readings[0].reads and not readings[0].stated:
                modes = tuple((name, m) for m in readings[0].modes if m.endswith("outlines"))
                roles = replace(roles, copper_modes=roles.copper_modes + modes)
            elif any(c.stated and not c.needs_width for c in readings):
                needs_mode.append(name)
            elif readings:
                needs_width.append(name)
    if answers.hole_layers is not None:
        roles = replace(roles, holes=answers.hole_layers)
    modes = tuple((name, mode) for name, some in answers.modes.items() for mode in some)
    roles = replace(
        roles,
        outline=answers.edge or roles.outline,
        copper_modes=roles.copper_modes + modes,
        line_widths=tuple(answers.widths.items()),
    )
    return (
        roles,
        tuple(name for name in needs_mode if name not in answers.modes),
        tuple(name for name in needs_width if name not in answers.widths),
    )


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
    return edge_survey, names if len(names) == 1 else ()


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
    return any(c.role == "outline" and c.pen for c in candidates_of(survey, names))


def _up(value: float) -> float:
    return round(value + 0.0049, 2)


def shown(file: Path, folder: Path) -> str:
    """The path of a file as seen from the folder where the job will lie."""
    try:
        return Path(os.path.relpath(file, folder)).as_posix()
    except ValueError:  # another drive
        return file.resolve().as_posix()
