"""The public functions, run as their docstrings show them, and the example that uses them."""

from __future__ import annotations

import doctest
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

import millprep

ROOT = Path(__file__).parents[1]
EXAMPLES = ROOT / "examples"
SOCKET = EXAMPLES / "rules" / "socket.toml"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the set of the example; the examples that read it come after `prepare`."""
    folder = tmp_path_factory.mktemp("library")
    millprep.prepare(SOCKET, folder / "set")
    return folder


@pytest.mark.parametrize("name", millprep.__all__)
def test_the_example_of_a_function_runs(name: str, folder: Path) -> None:
    drawing = SOCKET.with_name("socket.dxf")
    names = {"millprep": millprep, "job": SOCKET, "drawing": drawing, "folder": folder}
    (example,) = doctest.DocTestFinder(recurse=False).find(
        getattr(millprep, name), name, extraglobs=names
    )
    assert example.examples, f"{name} shows no example"
    said: list[str] = []
    doctest.DocTestRunner(verbose=False).run(example, out=said.append)
    assert said == []


def test_the_example_script_prepares_and_verifies(tmp_path: Path) -> None:
    for file in ("socket.toml", "socket.dxf"):
        shutil.copy(SOCKET.with_name(file), tmp_path)
    done = subprocess.run(
        [sys.executable, EXAMPLES / "as_a_library.py", "socket.toml", "set"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert any("isolate" in line and line.endswith(" min") for line in lines)
    assert (tmp_path / "set" / "report.json").exists()
