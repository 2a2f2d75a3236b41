"""What a person installs: the wheel holds all that the commands need, and is small."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import tomllib
import venv
from pathlib import Path
from zipfile import ZipFile

import pytest

pytest.importorskip("hatchling", reason="hatchling is not installed, which builds the wheel")

ROOT = Path(__file__).parents[1]
LARGEST = 2_500_000
"""Bytes; the README says 2 MB."""
BREAK = "\f"
PAGES = f"""
import sys
from millprep.cli.main import commands
for page in sys.argv[1:]:
    print({BREAK!r}, flush=True)
    commands(["guide", page], standalone_mode=False)
"""
"""Shows pages of the guide, one after the other."""


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from the clone without a network."""
    folder = tmp_path_factory.mktemp("wheel")
    pip("wheel", "--no-deps", "--no-build-isolation", "--no-index", "-w", folder, ROOT)
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def millprep(wheel: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The command in a fresh environment, which borrows the libraries of this one."""
    home = tmp_path_factory.mktemp("home") / "env"
    venv.EnvBuilder(with_pip=False).create(home)
    python = home / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    pip("--python", python, "install", "--no-deps", "--no-index", wheel)
    kept = {"base": str(home), "platbase": str(home)}
    own = Path(sysconfig.get_path("purelib", vars=kept))
    (own / "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n", "utf-8")
    return python.with_name("millprep.exe" if os.name == "nt" else "millprep")


def pip(*words: str | Path) -> None:
    command = [sys.executable, "-m", "pip", "--disable-pip-version-check", "-q", *map(str, words)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def run(millprep: Path, folder: Path, *words: str) -> str:
    """What an installed command prints; nothing of the clone is in reach."""
    bare = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    done = subprocess.run(
        [str(millprep), *words], cwd=folder, env=bare, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_the_wheel_is_small_and_holds_the_package_alone(wheel: Path) -> None:
    assert wheel.stat().st_size < LARGEST
    names = ZipFile(wheel).namelist()
    assert {name.split("/")[0].split("-")[0] for name in names} == {"millprep"}
    held = set(names)
    for file in (ROOT / "millprep").rglob("*"):
        if file.is_file() and "__pycache__" not in file.parts:
            assert file.relative_to(ROOT).as_posix() in held
    assert "millprep/lighthouse/memory-board.toml" in held


def test_commands_of_the_wheel_show_what_they_carry(millprep: Path, tmp_path: Path) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text("utf-8"))["project"]
    assert run(millprep, tmp_path, "version") == f"millprep {project['version']}\n"
    where = [str(millprep.with_name("python")), "-c", "import millprep; print(millprep.__file__)"]
    home = millprep.parents[1]
    assert Path(subprocess.check_output(where, cwd=tmp_path, text=True, env={})).is_relative_to(
        home
    )
    pages = sorted((ROOT / "millprep" / "guide").glob("*.md"))
    assert {page.stem for page in pages} <= set(run(millprep, tmp_path, "guide").split())
    # all in one process, which reads them as the command does
    python, names = millprep.with_name("python"), [page.stem for page in pages]
    shown = run(python, tmp_path, "-c", PAGES, *names).split(BREAK)[1:]
    assert len(shown) == len(pages)
    for page, text in zip(pages, shown, strict=True):
        assert page.read_text("utf-8").splitlines()[0].lstrip("# ") in text
    assert json.loads(run(millprep, tmp_path, "schema"))["title"] == "millprep job"
    assert "report" in json.loads(run(millprep, tmp_path, "schema", "--report"))["title"].lower()
    assert "[cutters.NAME]" in run(millprep, tmp_path, "schema", "--table")
    assert "groove" in run(millprep, tmp_path, "explain", "groove-wider-than-gap")


def test_the_demo_of_the_wheel_makes_a_set_that_stands_the_proof(
    millprep: Path, tmp_path: Path
) -> None:
    said = run(millprep, tmp_path, "demo", "out")
    assert "0 shorts, 0 opens" in said
    report = json.loads((tmp_path / "out" / "report.json").read_text("utf-8"))
    assert f"set {report['set']} in out" in said
    assert len(report["passes"]) == 2
    page = (tmp_path / "out" / "sheet.html").read_text("utf-8")
    assert "<script" in page
    assert list((tmp_path / "out" / "previews").glob("*.png"))
