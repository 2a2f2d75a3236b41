"""A small job and its drawing, whole, and ways to spoil them; layer names are invented."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from click.testing import CliRunner, Result
from ezdxf import filemanagement, units
from ezdxf.layouts.layout import Modelspace

from millprep.cli.main import commands

JOB = """\
name = "lamp test piece"

[machine]
preset = "small-mill-300"

[blank]
preset = "fr4-1.6-35"
size = [60.0, 50.0]
margin = 10.0

[setup]
tape = true

[[board]]
name = "lamp"
drawing = "lamp.dxf"
drawn_from = "copper"
layers = { copper = ["sheen"], outline = ["shore"], holes = ["wells"] }

[cutters.vee]
preset = "vee-30-0.1"

[cutters.drill]
preset = "drill-1.0"

[cutters.mill]
preset = "endmill-2"

[isolation]
gap = 0.3
cutters = ["vee"]

[drilling]
cutters = ["drill"]
spoilboard = 6.0

[profile]
cutter = "mill"
"""

CORNERS = ((0.0, 0.0), (30.0, 0.0), (30.0, 20.0), (0.0, 20.0))
Draw = Callable[[Modelspace], None]


def edge(space: Modelspace, *, gap: float = 0.0, scale: float = 1.0) -> None:
    """Four lines around the board; the last ends `gap` short of the first."""
    for k in range(4):
        (x0, y0), (x1, y1) = CORNERS[k], CORNERS[(k + 1) % 4]
        if k == 3:
            y1 += gap
        start, end = (x0 * scale, y0 * scale), (x1 * scale, y1 * scale)
        space.add_line(start, end, dxfattribs={"layer": "shore"})


def pad(space: Modelspace, x: float, y: float, *, hole: float = 1.0) -> None:
    """A square pad of 2.4 mm with a hole in its middle."""
    track(space, [(x - 1.2, y), (x + 1.2, y)], width=2.4)
    space.add_circle((x, y), hole / 2, dxfattribs={"layer": "wells"})


def track(space: Modelspace, points: list[tuple[float, float]], *, width: float) -> None:
    space.add_lwpolyline(points, dxfattribs={"layer": "sheen", "const_width": width})


def copper(space: Modelspace) -> None:
    """Two pads on one track and one alone: two pieces, 10 mm apart."""
    pad(space, 8.0, 6.0)
    pad(space, 22.0, 6.0)
    track(space, [(8.0, 6.0), (22.0, 6.0)], width=1.0)
    pad(space, 15.0, 14.0)


def whole(space: Modelspace) -> None:
    edge(space)
    copper(space)


def draw(file: Path, what: Draw = whole, *, unit: int = units.MM) -> None:
    doc = filemanagement.new("R2010", units=unit)
    for layer in ("sheen", "shore", "wells", "blank-sheen"):
        doc.layers.add(layer)
    what(doc.modelspace())
    doc.saveas(file)


def changed(old: str, new: str, text: str = JOB) -> str:
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the job"
    return text.replace(old, new)


def put(folder: Path, text: str = JOB, what: Draw = whole, *, unit: int = units.MM) -> Path:
    """Job and drawing in a folder; the job file."""
    draw(folder / "lamp.dxf", what, unit=unit)
    job = folder / "job.toml"
    job.write_text(text, encoding="utf-8")
    return job


def run(*words: str | Path) -> Result:
    """A command as a person types it; a traceback is a failure of the test."""
    result = CliRunner().invoke(commands, [str(word) for word in words], prog_name="millprep")
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result
