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
                "unit": unit.unit,
                "size_mm": _scaled(unit.size, 1.0),
                "drill_share": unit.share,
                "drill_series": unit.series,
            }
            for unit in survey.units
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
        "asked_modes": list(survey.needs_mode),
        "asked_widths": list(survey.needs_width),
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
        "part_names": list(layer.part_names),
        "box": _scaled(layer.box, survey.per_mm),
        "hidden": layer.hidden,
        "apart": {key: dict(values) for key, values in layer.distinctions},
        "picture": pictures.get((layer.name, None)),
        "candidates": [
            _candidate(candidate, survey) | {"picture": pictures.get((layer.name, n))}
            for n, candidate in enumerate(layer.candidates)
        ],
    }


def _candidate(candidate: Candidate, survey: Survey) -> dict[str, Any]:
    k = survey.per_mm
    return {
        "role": candidate.role,
        "modes": list(candidate.modes),
        "words": candidate.words,
        "reason": candidate.reason,
        "job_must_say": candidate.stated,
        "job_must_give_width": candidate.needs_width,
        "pieces": candidate.pieces,
        "gap": None if candidate.gap is None else _number(candidate.gap * k),
        "gap_at": _scaled(candidate.gap_at, k),
        "box": _scaled(candidate.box, k),
        "in_mm": in_mm(candidate, survey),
        "drills": [{"diameter": _number(d * k), "count": n} for d, n in candidate.drills],
        "own_holes": candidate.own_holes,
        "close_gaps": None if candidate.close_gaps is None else _number(candidate.close_gaps * k),
        "job_must_say_pen": bool(candidate.pens),
        "gaps": [{"at": _scaled(at, k), "size": _number(size * k)} for at, size in candidate.gaps],
        "left_out": [
            {"kind": kind, "count": count, "reason": reason}
            for kind, count, reason in candidate.left_out
        ],
        "refused": [{"code": code, "message": message} for code, message in candidate.refused],
    }


def in_mm(candidate: Candidate, survey: Survey) -> list[dict[str, Any]]:
    """Size and gap in mm, for the unit that is known or for each likely one."""
    assert candidate.box is not None  # only what is drawn has readings
    size = (candidate.box[2] - candidate.box[0], candidate.box[3] - candidate.box[1])
    scales: list[tuple[str | None, float]] = [(unit, MM[unit]) for unit in LIKELY]
    if survey.unit_mm is not None:
        scales = [(survey.unit, 1.0)]
    return [
        {
            "unit": unit,
            "size": _scaled(size, mm),
            "gap": None if candidate.gap is None else _number(candidate.gap * mm),
        }
        for unit, mm in scales
    ]


def _number(value: float) -> float:
    return round(value, 6) + 0.0


def _scaled(values: Iterable[float] | None, by: float) -> Any:
    return None if values is None else [_number(value * by) for value in values]
