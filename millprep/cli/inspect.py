"""`millprep inspect`, and a survey in words for the terminal, and its pictures."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import terminal
from millprep.cli.options import json_option
from millprep.model.finding import many

if TYPE_CHECKING:
    import shapely

    from millprep.drawing.survey.candidates import Candidate
    from millprep.drawing.survey.survey import Survey, SurveyedLayer
    from millprep.model.job.layers import LayerRoles, Unit
    from millprep.report.drawing_pictures import LayerPicture, ReadingPicture


Pictures = Mapping[tuple[str, int | None], str]
UNITS = ("mm", "inch", "mil", "cm", "m", "point")
MODES = ("strokes", "fills", "nested outlines", "overlapping outlines")
PENS = ("outer", "middle", "inner")
SPLITS = ("colour", "line-type", "block", "shape", "edge")
"""Words of the job's model, which is too heavy to load for a help text."""
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
    if layer.part_names:
        lines.append(f"  texts that could name parts: {part_names_words(layer.part_names)}")
    if layer.name in survey.needs_mode or (layer.box is not None and survey.roles is None):
        lines += parts_words(layer)
    return lines


def part_names_words(names: Sequence[str]) -> str:
    """The first few of the names."""
    more = f" and {len(names) - MOST} more" if len(names) > MOST else ""
    return ", ".join(names[:MOST]) + more


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
    elif candidate.pens:
        pens = " or ".join(f'"{pen}"' for pen in candidate.pens)
        lines.append(f"only if the job says which line of the pen: outline_pen = {pens}")
    elif candidate.refused:
        for code, message in candidate.refused:
            lines.append(f"refused [{code}]: {message}")
    for kind, count, reason in candidate.left_out[:MOST]:
        lines.append(f"leaves out {count} {kind}: {reason}")
    return lines


def pieces_words(candidate: Candidate, survey: Survey) -> str:
    """Pieces and narrowest gap of a reading as copper."""
    words = many(candidate.pieces or 0, "piece")
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


def holes_words(survey: Survey, roles: LayerRoles) -> list[str]:
    """What could be holes, where no layer is settled for them: circles wherever they are."""
    from millprep.drawing.survey.edges_and_holes import LARGEST_BORE

    picked = []
    for layer in survey.layers:
        reading = next((c for c in layer.candidates if c.role == "holes" and c.reads), None)
        if reading is not None:
            picked.append(f"  {layer.name}: {reading.reason}")
            continue
        circles = [
            round_.diameter
            for round_ in layer.rounds
            if survey.unit_mm is None or round_.diameter <= LARGEST_BORE
        ]
        if circles and layer.name not in roles.outline:
            span = f"{length(min(circles), survey)} to {length(max(circles), survey)}"
            named = layer.name in roles.copper
            also = "; named here too, the inner circles of its pads are holes" if named else ""
            count = many(len(circles), "circle")
            picked.append(f"  {layer.name}: {count} among others, {span}{also}")
    head = ">>> Name the layers of the holes, [] if there are none. These could be:"
    return [head, *picked] if picked else []


def readings_words(survey: Survey, name: str) -> list[str]:
    """Every reading of a layer whose mode the job must give, and what could split it."""
    (layer,) = [layer for layer in survey.layers if layer.name == name]
    return [*modes_words(survey, name), *(line.strip() for line in parts_words(layer))]


def modes_words(survey: Survey, name: str) -> list[str]:
    """Every reading that layers.modes could name for a layer."""
    lines = []
    for candidate in (c for la in survey.layers if la.name == name for c in la.candidates):
        if candidate.role != "copper" or not candidate.stated or candidate.needs_width:
            continue
        modes = ", ".join(f'"{mode}"' for mode in candidate.modes)
        modes = modes if len(candidate.modes) == 1 else f"[{modes}]"
        end = pieces_words(candidate, survey)
        if candidate.refused:
            end = "refused: " + ", ".join(code for code, _ in candidate.refused)
        lines.append(f"{modes}: {candidate.reason.removeprefix('only ')}; {end}")
    return lines


def _key(layer: str) -> str:
    return f'"{layer}"'


def draw(survey: Survey, file: str, folder: Path) -> dict[tuple[str, int | None], str]:
    """Write the pictures of a survey; their paths by layer and number of the candidate."""
    from millprep.report.drawing_pictures import draw_drawing

    keys: list[tuple[str, int | None]] = []
    pictures: list[LayerPicture | ReadingPicture] = []
    for number, layer in enumerate(survey.layers, start=1):
        if layer.box is None:
            continue
        keys.append((layer.name, None))
        pictures.append(_layer_picture(survey, file, number, layer))
        for n, candidate in enumerate(layer.candidates):
            if candidate.role == "copper" and candidate.shapes:
                keys.append((layer.name, n))
                pictures.append(_reading(survey, file, number, layer, candidate))
    names = draw_drawing(pictures, folder)
    return {key: (folder / name).as_posix() for key, name in zip(keys, names, strict=True)}


def _layer_picture(survey: Survey, file: str, number: int, layer: SurveyedLayer) -> LayerPicture:
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
    import shapely

    from millprep.drawing.marks.stroke import drawn, spine_of
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
    import shapely

    return tuple(shapely.transform(shape, lambda xy: xy * k) for shape in shapes)


def _box(box: tuple[float, float, float, float], k: float) -> tuple[float, float, float, float]:
    return (box[0] * k, box[1] * k, box[2] * k, box[3] * k)


@click.command()
@click.argument("drawing_file", metavar="DRAWING", type=click.Path(path_type=Path))
@click.option(
    "--unit",
    type=click.Choice(UNITS),
    help="Unit of a drawing that states none.",
)
@click.option(
    "--pictures",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Draw every layer, and each reading of it as copper, into this folder.",
)
@click.option("--repair", is_flag=True, help="Mend a damaged drawing, as prepare --repair does.")
@json_option("Print the same as JSON.")
def inspect(
    drawing_file: Path, unit: Unit | None, pictures: Path | None, repair: bool, as_json: bool
) -> None:
    """Show what is in a drawing: layers, unit, what each layer may be.

    A layer that may be copper is read in every way that could be meant. For each reading you see
    the pieces, the narrowest gap, and what it would leave out or refuse.
    """
    import millprep

    with terminal.refusals():
        survey = millprep.survey_drawing(drawing_file, unit, repair=repair)
    files: dict[tuple[str, int | None], str] = {}
    if pictures is not None:
        files = draw(survey, drawing_file.name, pictures)
    if as_json:
        from millprep.drawing.survey.record import record

        click.echo(json.dumps(record(survey, drawing_file.name, files), indent=2))
        return
    for line in described(survey, files):
        click.echo(line)
    if any(layer.box is not None for layer in survey.layers) and pictures is None:
        click.echo("pictures of every layer and reading: --pictures DIR")
