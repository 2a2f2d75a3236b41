"""A damaged drawing: refused as it is, mended on request, and only as far as the job accepts."""

from __future__ import annotations

import shutil
from pathlib import Path

from tests.helpers.small_job import JOB, changed, run

DAMAGED = Path(__file__).parents[2] / "fixtures" / "dialects" / "damaged-radius.dxf"
LAYERS = 'layers = { copper = ["sheen"], outline = ["shore"], holes = ["wells"] }\n'


def job(folder: Path, more: str = "") -> Path:
    shutil.copy(DAMAGED, folder / "lamp.dxf")
    layers = 'layers = { copper = ["foil"], outline = ["rim"], holes = [] }\n'
    text = changed(LAYERS, layers + more, changed("[60.0, 50.0]", "[70.0, 60.0]"))
    assert text != JOB
    file = folder / "job.toml"
    file.write_text(text, encoding="utf-8")
    return file


def test_without_the_wish_it_is_refused_and_the_wish_is_named(tmp_path: Path) -> None:
    result = run("prepare", job(tmp_path), "--out", tmp_path / "out")
    assert result.exit_code == 3
    assert "drawing-unreadable" in result.stderr
    assert "--repair" in result.stderr


def test_a_change_to_copper_is_refused_by_name(tmp_path: Path) -> None:
    result = run("prepare", job(tmp_path), "--out", tmp_path / "out", "--repair")
    assert result.exit_code == 3
    assert "repair-not-accepted" in result.stderr
    assert "broken-number BEE" in result.stderr
    assert not (tmp_path / "out").exists()


def test_an_accepted_change_is_made_and_listed_and_the_set_proves(tmp_path: Path) -> None:
    file, out = job(tmp_path, 'accept_repairs = ["broken-number BEE"]\n'), tmp_path / "out"
    result = run("prepare", file, "--out", out, "--repair")
    assert result.exit_code == 0, result.output
    assert "drawing-repaired" in result.stderr
    assert "BEE" in result.stderr
    assert "2 copper pieces, 0 shorts, 0 opens" in result.stdout
    assert run("verify", out, "--job", file).exit_code == 0
