"""From a survey to its pictures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import shapely

from millprep.cli.survey_words import length, pieces_words

if TYPE_CHECKING:
    from millprep.drawing.survey.candidates import Candidate
    from millprep.drawing.survey.survey import Survey, SurveyedLayer
    from millprep.report.drawing_pictures import LayerPicture, ReadingPicture


def draw(survey: Survey, file: str, folder: Path) -> dict[tuple[str, int | None], str]:
    """Write the pictures of a survey; their paths by layer and number of the candidate."""
    from millprep.report.drawing_pictures import draw_drawing

    keys: list[tuple[str, int | None]] = []
    pictures: list[LayerPicture | ReadingPicture] = []
    for number, layer in enumerate(survey.layers, start=1):
        if layer.box is None:
            continue
        keys.append((layer.name, None))
        pictures.append(_layer(survey, file, number, layer))
        for n, candidate in enumerate(layer.candidates):
            if candidate.role == "copper" and candidate.shapes:
                keys.append((layer.name, n))
                pictures.append(_reading(survey, file, number, layer, candidate))
    names = draw_drawing(pictures, folder)
    return {key: (folder / name).as_posix() for key, name in zip(keys, names, strict=True)}


def _layer(survey: Survey, file: str, number: int, layer: SurveyedLayer) -> LayerPicture:
    from millprep.drawing.marks.stroke import drawn
    from millprep.report.drawing_pictures import LayerPicture, layer_title, stem

    lines, areas = drawn(layer.marks)
    k = survey.per_mm
    assert layer.box is not None
    kinds = ", ".join(f"{count} {kind}" for kind, count in layer.kinds[:5])
    words = f"as drawn: {kinds}" + (f"; {layer.words} texts not shown" if layer.words else "")
    return LayerPicture(
        stem=stem(number, layer.name),
        title=layer_title(file, layer.name, "all that is drawn on it"),
        words=words,
        lines=tuple(line * k for line in lines),
        areas=_scaled(areas, k),
        box=_box(layer.box, k),
        below=_sizes(survey, layer.box),
        unit=_unit(survey),
    )


def _reading(
    survey: Survey, file: str, number: int, layer: SurveyedLayer, candidate: Candidate
) -> ReadingPicture:
    from millprep.drawing.marks.slot import spine_of
    from millprep.drawing.marks.stroke import drawn
    from millprep.report.drawing_pictures import ReadingPicture, layer_title, stem

    k = survey.per_mm
    box = candidate.box or layer.box
    assert box is not None
    gap = "" if candidate.gap is None else f"narrowest gap {length(candidate.gap, survey)}"
    swallowing = "overlapping outlines" in candidate.modes
    return ReadingPicture(
        stem=stem(number, layer.name, candidate.role, *(candidate.modes or ("as drawn",))),
        title=layer_title(file, layer.name, candidate.words),
        words=pieces_words(candidate, survey),
        pieces=_scaled(candidate.shapes, k),
        holes=tuple(
            (shapely.transform(spine_of(bore), lambda xy: xy * k), bore.diameter * k)
            for bore in candidate.bores
            if candidate.own_holes
        ),
        box=_box(box, k),
        gap_at=None
        if candidate.gap_at is None
        else (candidate.gap_at[0] * k, candidate.gap_at[1] * k),
        gap_words=gap,
        lines=tuple(line * k for line in drawn(layer.marks)[0]) if swallowing else (),
        below=_sizes(survey, box, candidate.gap),
        unit=_unit(survey),
    )


def _unit(survey: Survey) -> str:
    return survey.unit if survey.unit in ("mm", "inch", "mil", "cm", "m") else "drawing units"


def _sizes(
    survey: Survey, box: tuple[float, float, float, float], gap: float | None = None
) -> tuple[str, ...]:
    """Size and gap in mm, for the unit that is known or each likely one."""
    from millprep.drawing.unit import LIKELY, MM

    scales = [(f"if the unit is {unit}", MM[unit]) for unit in LIKELY]
    if survey.unit_mm is not None:
        scales = [("size of what is shown", 1.0)]
    said = []
    for words, mm in scales:
        size = f"{words}: {(box[2] - box[0]) * mm:.2f} × {(box[3] - box[1]) * mm:.2f} mm"
        said.append(size + (f", narrowest gap {gap * mm:.3f} mm" if gap is not None else ""))
    return tuple(said)


def _scaled(shapes: tuple[shapely.Polygon, ...], k: float) -> tuple[shapely.Polygon, ...]:
    return tuple(shapely.transform(shape, lambda xy: xy * k) for shape in shapes)


def _box(box: tuple[float, float, float, float], k: float) -> tuple[float, float, float, float]:
    return (box[0] * k, box[1] * k, box[2] * k, box[3] * k)
