"""A survey in words, for the terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from millprep.drawing.survey.candidates import Candidate
    from millprep.drawing.survey.survey import Survey, SurveyedLayer

Pictures = Mapping[tuple[str, int | None], str]
UNITS = ("mm", "inch", "mil", "cm", "m", "point")
"""Those of the job's `unit`, which is too heavy to load for a help text."""
MOST = 6
"""Values of one kind that are listed; the rest is counted."""


def described(survey: Survey, pictures: Pictures | None = None) -> list[str]:
    """The survey in words, a line for each fact."""
    lines = [f"{survey.version}, {survey.entities} entities", *unit_lines(survey)]
    for layer in survey.layers:
        lines += _layer(layer, survey, pictures or {})
    roles = survey.roles
    if roles is None:
        lines.append("the roles of the layers are open: name them in the job's layers")
    else:
        said = [
            f"{role} {', '.join(names)}"
            for role, names in (
                ("copper", roles.copper), ("outline", roles.outline), ("holes", roles.holes)
            )
            if names
        ]  # fmt: skip
        lines.append(f"taken: {'; '.join(said)}")
    mended = [f"mended: {words}" for words in survey.repairs]
    return [*lines, *survey.doubts, *survey.unread, *mended]


def unit_lines(survey: Survey) -> list[str]:
    """What is known of the unit, and which hints there are."""
    if survey.unit is None:
        lines = ["the file states no unit: a job needs unit in [[board]]"]
    elif survey.stated:
        lines = [f"the file states its unit: {survey.unit}"]
    else:
        lines = [f"unit taken from --unit: {survey.unit}"]
    if survey.hint and not survey.stated:
        lines.append(f"$MEASUREMENT hints at {survey.hint}; this hint is often wrong")
    return [*lines, *([survey.unit_words] if survey.unit_words else [])]


def _layer(layer: SurveyedLayer, survey: Survey, pictures: Pictures) -> list[str]:
    kinds = ", ".join(f"{count} {kind}" for kind, count in layer.kinds)
    hidden = ", frozen or switched off" if layer.hidden else ""
    lines = [f"layer {layer.name}{hidden}: {kinds}"]
    if layer.box is not None:
        x0, y0, x1, y1 = (value * survey.per_mm for value in layer.box)
        lines.append(f"  from {x0:g}, {y0:g} to {x1:g}, {y1:g} drawing units")
    if (layer.name, None) in pictures:
        lines.append(f"  picture: {pictures[layer.name, None]}")
    for n, candidate in enumerate(layer.candidates):
        lines.append(f"  may be {candidate.words}: {candidate.reason}")
        lines += [f"    {line}" for line in _candidate(layer.name, candidate, survey)]
        if (layer.name, n) in pictures:
            lines.append(f"    picture: {pictures[layer.name, n]}")
    if layer.name in survey.needs_mode or (layer.box is not None and survey.roles is None):
        lines += parts_words(layer)
    return lines


def _candidate(layer: str, candidate: Candidate, survey: Survey) -> list[str]:
    lines = []
    if candidate.role == "copper" and candidate.pieces is not None:
        lines.append(pieces_words(candidate, survey))
    if candidate.drills:
        sizes = ", ".join(f"{n} × {length(d, survey)}" for d, n in candidate.drills[: 2 * MOST])
        more = (
            f" and {len(candidate.drills) - 2 * MOST} more"
            if len(candidate.drills) > 2 * MOST
            else ""
        )
        where = "circles in it are its holes: " if candidate.own_holes else "holes: "
        lines.append(f"{where}{sizes}{more}")
    if candidate.needs_width:
        lines.append(f"the job gives the width in mm: layers.widths = {{ {_key(layer)} = … }}")
    elif candidate.stated:
        modes = ", ".join(f'"{mode}"' for mode in candidate.modes)
        value = modes if len(candidate.modes) == 1 else f"[{modes}]"
        lines.append(f"only if the job says: layers.modes = {{ {_key(layer)} = {value} }}")
    if candidate.close_gaps is not None:
        for at, size in candidate.gaps[:MOST]:
            x, y = (value * survey.per_mm for value in at)
            lines.append(f"open by {length(size, survey)} at {x:.6g}, {y:.6g}")
        lines.append("closed if the job says close_gaps, in mm")
    elif candidate.refused:
        for code, message in candidate.refused:
            lines.append(f"refused [{code}]: {message}")
    for kind, count, reason in candidate.left_out[:MOST]:
        lines.append(f"leaves out {count} {kind}: {reason}")
    return lines


def pieces_words(candidate: Candidate, survey: Survey) -> str:
    """Pieces and narrowest gap of a reading as copper."""
    words = "1 piece" if candidate.pieces == 1 else f"{candidate.pieces} pieces"
    if candidate.gap is None or candidate.gap_at is None:
        return words
    x, y = (value * survey.per_mm for value in candidate.gap_at)
    return words + f", narrowest gap {length(candidate.gap, survey)} at {x:.6g}, {y:.6g}"


def length(value: float, survey: Survey) -> str:
    """A length in words: in mm where the unit is known, else in drawing units."""
    if survey.unit_mm is None:
        return f"{value:.4g} drawing units"
    return f"{value:.4g} mm"


def parts_words(layer: SurveyedLayer) -> list[str]:
    """What a selection of the job could split the layer's shapes by."""
    lines = []
    for key, values in layer.distinctions:
        if len(values) > 1 or key == "block":
            said = ", ".join(f"{value} ({n})" for value, n in values[:MOST])
            more = f" and {len(values) - MOST} more" if len(values) > MOST else ""
            lines.append(f"  a [[board.selection]] can split it by {key}: {said}{more}")
    return lines


def _key(layer: str) -> str:
    return f'"{layer}"'
