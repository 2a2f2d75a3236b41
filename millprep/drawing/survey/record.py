"""A survey as `inspect --json` prints it; lengths and places in drawing units unless said."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from millprep.drawing.survey.candidates import Candidate
from millprep.drawing.survey.survey import Survey, SurveyedLayer
from millprep.drawing.unit import LIKELY, MM

FORMAT = 1
"""Grows when a key changes its meaning or goes."""


def record(
    survey: Survey, file: str, pictures: Mapping[tuple[str, int | None], str]
) -> dict[str, Any]:
    """The whole survey as plain values.

    Args:
        survey: of the drawing.
        file: what to call it.
        pictures: files by layer and number of the candidate, None for the layer itself.
    """
    k = survey.per_mm
    roles = survey.roles
    return {
        "format": FORMAT,
        "file": file,
        "version": survey.version,
        "entities": survey.entities,
        "unit": survey.unit,
        "unit_mm": survey.unit_mm,
        "unit_stated": survey.stated,
        "measurement_hint": survey.hint,
        "box": _scaled(survey.box, k),
        "units": [
            {
                "unit": one.unit,
                "size_mm": _scaled(one.size, 1.0),
                "drill_share": one.share,
                "drill_series": one.series,
            }
            for one in survey.units
        ],
        "unit_words": survey.unit_words,
        "layers": [_layer(layer, survey, pictures) for layer in survey.layers],
        "roles": None
        if roles is None
        else {
            "copper": list(roles.copper),
            "outline": list(roles.outline),
            "holes": list(roles.holes),
            "modes": dict(roles.copper_modes),
        },
        "asked_modes": list(survey.asked),
        "asked_widths": list(survey.bare),
        "close_gaps": _scaled((survey.close_gaps,), k)[0],
        "doubts": list(survey.doubts),
        "unread": list(survey.unread),
        "repairs": list(survey.repairs),
    }


def _layer(
    layer: SurveyedLayer, survey: Survey, pictures: Mapping[tuple[str, int | None], str]
) -> dict[str, Any]:
    return {
        "name": layer.name,
        "kinds": [{"kind": kind, "count": count} for kind, count in layer.kinds],
        "texts": layer.words,
        "box": _scaled(layer.box, survey.per_mm),
        "hidden": layer.hidden,
        "apart": {key: dict(values) for key, values in layer.apart},
        "picture": pictures.get((layer.name, None)),
        "candidates": [
            _candidate(one, survey) | {"picture": pictures.get((layer.name, n))}
            for n, one in enumerate(layer.candidates)
        ],
    }


def _candidate(one: Candidate, survey: Survey) -> dict[str, Any]:
    k = survey.per_mm
    return {
        "role": one.role,
        "modes": list(one.modes),
        "words": one.words,
        "reason": one.reason,
        "job_must_say": one.stated,
        "job_must_give_width": one.needs_width,
        "pieces": one.pieces,
        "gap": None if one.gap is None else _number(one.gap * k),
        "gap_at": _scaled(one.gap_at, k),
        "box": _scaled(one.box, k),
        "in_mm": in_mm(one, survey),
        "drills": [{"diameter": _number(d * k), "count": n} for d, n in one.drills],
        "own_holes": one.own_holes,
        "close_gaps": None if one.close_gaps is None else _number(one.close_gaps * k),
        "gaps": [{"at": _scaled(at, k), "size": _number(size * k)} for at, size in one.gaps],
        "left_out": [
            {"kind": kind, "count": count, "reason": reason} for kind, count, reason in one.left_out
        ],
        "refused": [{"code": code, "message": message} for code, message in one.refused],
    }


def in_mm(one: Candidate, survey: Survey) -> list[dict[str, Any]]:
    """Size and gap in mm, for the unit that is known or for each likely one."""
    if one.box is None:
        return []
    size = (one.box[2] - one.box[0], one.box[3] - one.box[1])
    found: list[tuple[str | None, float]] = [(unit, MM[unit]) for unit in LIKELY]
    if survey.unit_mm is not None:
        found = [(survey.unit, 1.0)]
    return [
        {
            "unit": unit,
            "size": _scaled(size, mm),
            "gap": None if one.gap is None else _number(one.gap * mm),
        }
        for unit, mm in found
    ]


def _number(value: float) -> float:
    return round(value, 6) + 0.0


def _scaled(values: Iterable[float] | None, by: float) -> Any:
    return None if values is None else [_number(value * by) for value in values]
