"""What a person answers of a drawing, by options and on a terminal."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

import click

from millprep.cli.inspect import UNITS
from millprep.model.finding import Finding, Refusal

if TYPE_CHECKING:
    from millprep.drawing.selection import Key
    from millprep.drawing.survey.survey import Survey
    from millprep.job import Start
    from millprep.model.job.layers import CopperMode, DrawnFrom, OutlinePen, Unit

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class Answers:
    """What the person answered; `folder` is where the job will lie.

    Attributes:
        copper, edge, hole_layers: layers by role, or what `split` makes of them; without any the
            survey's guess is taken, and `hole_layers` is None then.
        parts: layers whose texts name parts, () for none; None where nobody said.
        modes, widths: of copper layers, by name.
        mode, track_width: of all copper layers that leave it open.
        closed: whether the gaps in the outline may be closed, or `close_gaps` up to which size, mm.
        pen: which line of what a pen draws is the outline.
        split: what splits the shapes of a layer into selections.
        usual: the side that the bench says all drawings are seen from.
    """

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
    count: int = 1
    copper: tuple[str, ...] = ()
    edge: tuple[str, ...] = ()
    hole_layers: tuple[str, ...] | None = None
    parts: tuple[str, ...] | None = None
    modes: Mapping[str, tuple[CopperMode, ...]] = field(default_factory=dict)
    widths: Mapping[str, float] = field(default_factory=dict)
    mode: tuple[CopperMode, ...] = ()
    track_width: float | None = None
    closed: bool = False
    close_gaps: float | None = None
    pen: OutlinePen | None = None
    split: tuple[Key, ...] = ()
    usual: DrawnFrom | None = None


OPTIONS = {
    "drawn_from": "--drawn-from",
    "unit": "--unit",
    "outline_unit": "--outline-unit",
    "holes_unit": "--holes-unit",
    "layers.copper": "--copper-layer",
    "layers.outline": "--outline-layer",
    "the outline": "--outline-layer, --outline, --margin or --outline-drawing",
    "layers.holes": "--holes-layer",
    "layers.parts": "--parts-layer",
    "layers.modes": "--mode",
    "layers.widths": "--track-width",
    "close_gaps": "--close-gaps",
    "outline_pen": "--outline-pen",
}
"""The options that answer what a starter job leaves open."""


def box(option: str, text: str) -> Box:
    """Four numbers, the low corner first."""
    try:
        x0, y0, x1, y1 = (float(part) for part in text.split(","))
    except ValueError:
        raise click.UsageError(f"{option} must be X0,Y0,X1,Y1 in mm; got {text}") from None
    if not (all(map(math.isfinite, (x0, y0, x1, y1))) and x0 < x1 and y0 < y1):
        raise click.UsageError(f"{option} must have X0 < X1 and Y0 < Y1; got {text}")
    return (x0, y0, x1, y1)


def spelt(survey: Survey, option: str, names: Sequence[str]) -> tuple[str, ...]:
    """Names of layers as the drawing spells them.

    Raises:
        Refusal: exit code 3, when the drawing has no such layer.
    """
    from millprep.model.job.mistakes import near

    known = {layer.name.casefold(): layer.name for layer in survey.layers}
    wrong = [name for name in names if name.casefold() not in known]
    if wrong:
        shown = ", ".join(f'"{layer.name}"' for layer in survey.layers[:12])
        more = f" and {len(survey.layers) - 12} more" if len(survey.layers) > 12 else ""
        message = (
            f'Nothing is drawn on a layer "{wrong[0]}"{near(wrong[0], known.values())}. Give '
            f"{option} one of {shown}{more}."
        )
        raise Refusal([Finding(code="layer-absent", severity="stop", message=message)], exit_code=3)
    return tuple(dict.fromkeys(known[name.casefold()] for name in names))


def question(key: str, start: Start, survey: Survey, answers: Answers) -> Answers:
    """The answers with one more, or as they are where the person leaves a key open."""
    known = start.choices or {}
    layers = [layer.name for layer in survey.layers]
    if key == "drawn_from":
        words = "Do you see the components or the copper in the drawing"
        value = _ask(words, (), _among(("components", "copper")))
        return replace(answers, drawn_from=value)
    if key == "unit":
        words = f"Unit: {', '.join(UNITS)}"
        return replace(answers, unit=_ask(words, start.unit_words, _among(UNITS)))
    if key in ("outline_unit", "holes_unit"):
        lines = (start.other_units or {}).get(key, ())
        words = f"Unit of the file of the {key.removesuffix('_unit')}: {', '.join(UNITS)}"
        return replace(answers, **{key: _ask(words, lines, _among(UNITS))})
    if key == "layers.copper":
        names = _ask("Layers of the copper", known.get("copper", ()), _layers(layers))
        return replace(answers, copper=names or ())
    if key == "layers.holes" and not answers.holes:
        words = "Layers of the holes, or none"
        return replace(answers, hole_layers=_ask(words, known["holes"], _layers(layers, "none")))
    if key == "layers.parts":
        words = "Layers whose texts name parts, or none"
        lines = [f"{name}: {said}" for name, said in (start.part_names or {}).items()]
        return replace(answers, parts=_ask(words, lines, _layers(layers, "none")))
    if key == "the outline":
        words = "The board's edge: its layers, a margin around the copper in mm, or X0,Y0,X1,Y1"
        value = _ask(words, known.get("outline", ()), _edge(layers))
        return answers if value is None else replace(answers, **value)
    if key == "layers.outline" and answers.outline is not None:
        from millprep.drawing.survey.survey import survey_file

        edge = survey_file(answers.outline, answers.outline_unit, answers.repair)
        names = _ask(
            "Layers of the edge", known["outline"], _layers([layer.name for layer in edge.layers])
        )
        return replace(answers, edge=names or ())
    if key == "layers.modes":
        return replace(answers, modes=answers.modes | _modes(start))  # type: ignore[operator]
    if key == "layers.widths":
        widths = {
            name: width
            for name in start.needs_width
            if (width := _ask(f"Width of the tracks on layer {name}, mm", (), _length)) is not None
        }
        return replace(answers, widths={**answers.widths, **widths})
    if key == "close_gaps" and start.roles.close_gaps:
        words = f"Close these gaps, up to {start.roles.close_gaps:g} mm, by straight lines: yes, no"
        return replace(answers, closed=_ask(words, start.gaps, _among(("yes", "no"))) == "yes")
    if key == "outline_pen":
        words = f"Which line of what its pen draws is the edge: {', '.join(start.pens)}"
        return replace(answers, pen=_ask(words, (), _among(start.pens)))
    return answers


def _modes(start: Start) -> dict[str, Any]:
    from millprep.model.job.layers import CopperMode

    given = {
        name: _ask(f"What draws copper on layer {name}", lines, _several(get_args(CopperMode)))
        for name, lines in (start.needs_mode or {}).items()
    }
    return {name: modes for name, modes in given.items() if modes}


def _ask(words: str, lines: Sequence[str], parse: Callable[[str], Any]) -> Any:
    """An answer; None where the person leaves it open. A wrong one is refused and repeated."""
    for line in lines:
        click.echo(f"  {line.removeprefix('>>> ')}", err=True)

    def read(text: str) -> Any:
        return parse(text.strip()) if text.strip() else None

    hint = " [Enter: leave it open]"
    return click.prompt(words + hint, default="", show_default=False, value_proc=read, err=True)


def _among(options: Sequence[str]) -> Callable[[str], str]:
    def parse(text: str) -> str:
        if text not in options:
            raise click.BadParameter(f"write one of {', '.join(options)}")
        return text

    return parse


def _several(options: Sequence[str]) -> Callable[[str], tuple[str, ...]]:
    """Some of the options, with commas between."""
    parse = _among(options)
    return lambda text: tuple(parse(part.strip().strip('"')) for part in text.split(","))


def _layers(names: Sequence[str], empty: str = "") -> Callable[[str], tuple[str, ...]]:
    """Layers of the drawing, with commas between; `empty` is the word for none."""

    def parse(text: str) -> tuple[str, ...]:
        if text in names:
            return (text,)
        return () if empty and text == empty else _several(names)(text)

    return parse


def _edge(names: Sequence[str]) -> Callable[[str], dict[str, Any]]:
    def parse(text: str) -> dict[str, Any]:
        if text in names:
            return {"edge": (text,)}
        numbers = text.replace(",", "").replace(".", "").replace("-", "").replace(" ", "")
        if not numbers.isdigit():
            return {"edge": _layers(names)(text)}
        if "," not in text:
            return {"margin": _length(text)}
        try:
            return {"box": box("the edge", text)}
        except click.UsageError as fault:
            raise click.BadParameter(fault.message) from None

    return parse


def _length(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        raise click.BadParameter(f"{text} is no number; write it in mm, such as 0.8") from None
    if not 0 < value <= 1000:
        raise click.BadParameter("write a length above 0 and at most 1000 mm")
    return value
