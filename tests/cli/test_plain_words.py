"""Mistakes that people make in a job or a call, each refused or noted in plain words."""

from __future__ import annotations

from pathlib import Path

import pytest
from ezdxf.layouts.layout import Modelspace

from tests.helpers.small_job import JOB, changed, edge, pad, put, run

GERBER = "%FSLAX46Y46*%\n%MOMM*%\nG04 copper*\nX0Y0D02*\nM02*\n"
DRILLS = "M48\nMETRIC,TZ\nT1C1.0\n%\nT1\nX1Y1\nM30\n"


def said(folder: Path, *words: str, code: int) -> str:
    result = run("prepare", folder / "job.toml", "--out", folder / "set", *words)
    assert result.exit_code == code, result.stderr
    return result.stderr


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        (
            changed('"lamp.dxf"', '"C:\\Users\\me\\lamp.dxf"'),
            2,
            "write a path with /, or between single quotes",
        ),
        (
            changed('"lamp.dxf"', '"..\\boards\\new.dxf"'),
            2,
            "\\ in a text has a meaning of its own, so write the path with /",
        ),
        (changed("gap = 0.3", "gap = 0,3"), 2, "a number has a point, no comma: 0.3"),
        (changed('"copper"\n', "copper\n"), 2, "a text is between quotes"),
        (changed('"lamp.dxf"', '"lamp.dxf'), 2, "the text has no quote at its end"),
        (changed("gap = 0.3", "gap = 0.3\ngap = 0.4"), 2, "gap is there twice in this table"),
        (f"{JOB}\n[isolation]\ngap = 0.4\n", 2, "table [isolation] is there twice"),
        (f'{JOB}\n[board]\nname = "x"\n', 2, "or head each board with [[board]]"),
        (changed("[60.0, 50.0]", "[45.0, 60.0]"), 1, "swap the two numbers of [[blank]] size"),
        (changed("[60.0, 50.0]", "[2.4, 2.0]"), 2, "so be below 1 mm (mm, not inches); got 10"),
        (
            changed("gap = 0.3", "gap = 0.3\ndepth = 0.03"),
            1,
            "leaves 0.010 mm for 0.035 mm of copper. Set depth above 0.055.",
        ),
        (
            changed("gap = 0.3", "gap = 0.3\ndepth = 0.01"),
            1,
            "leaves 0.000 mm for 0.035 mm of copper. Set depth above 0.055.",
        ),
    ],
)
def test_a_job_with_a_mistake(tmp_path: Path, text: str, code: int, words: str) -> None:
    put(tmp_path, text)
    line = said(tmp_path, code=code)
    assert words in line
    assert "expected newline" not in line
    assert not (tmp_path / "set").exists()


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (GERBER, "which is a Gerber file and has no layers"),
        (DRILLS, "which is a drill file and has no layers"),
        ("<svg>", "is no DXF, Gerber or drill file, but like an SVG file"),
    ],
)
def test_a_file_of_another_kind(tmp_path: Path, content: str, words: str) -> None:
    put(tmp_path)
    (tmp_path / "lamp.dxf").write_text(content, encoding="ascii")
    assert words in said(tmp_path, code=3)


def test_the_only_copy_left_out(tmp_path: Path) -> None:
    put(tmp_path)
    line = said(tmp_path, "--skip", "lamp:1", code=2)
    assert "--skip leaves out every copy of the job (1 in all)" in line
    line = said(tmp_path, "--skip", "lamp:1", "--only", "lamp:1", code=2)
    assert "Board lamp copy 1 is named by --only and by --skip." in line


@pytest.mark.parametrize(
    ("tolerance", "words"),
    [
        (0.2, None),
        (1.0, "2 holes are off by more than 0.2 mm, the most a hole of 1.90 mm drilled 1.00 mm"),
        (0.9, "lets a hole take a drill 0.9 mm too wide or too narrow: 2 holes"),
    ],
)
def test_a_tolerance_that_takes_any_drill(
    tmp_path: Path, tolerance: float, words: str | None
) -> None:
    def what(space: Modelspace) -> None:
        edge(space)
        for x, hole in ((6.0, 1.0), (14.0, 1.5), (22.0, 1.0 if words is None else 1.9)):
            pad(space, x, 10.0, hole=1.1 if words is None else hole)

    text = changed("spoilboard = 6.0", f"spoilboard = 6.0\ntolerance = {tolerance}")
    put(tmp_path, text, what)
    line = said(tmp_path, code=0)
    assert ("[drill-tolerance-wide]" in line) == (words is not None)
    assert words is None or words in line
