"""The two example jobs, each prepared once for all tests and all test processes."""

from __future__ import annotations

import os
import time
from pathlib import Path

import pytest
from hypothesis import settings

from millprep.workflow.prepare import prepare
from tests.helpers.chance import same_examples_whatever_is_loaded

# what tests compare is computed; those of the cache have one of their own
os.environ["MILLPREP_CACHE"] = "off"
settings.load_profile("same")
same_examples_whatever_is_loaded()

EXAMPLES = Path(__file__).parents[1] / "examples" / "lighthouse"
LONGEST_WAIT = 300
"""Seconds for another test process to finish a job; an hour would not mend a hung one."""


def _prepared(job: str, factory: pytest.TempPathFactory) -> Path:
    """The set of an example job, made by whichever test process comes first."""
    base = factory.getbasetemp()
    # Processes of one parallel run have neighbouring folders, and so a parent in common.
    shared = base.parent if base.name.startswith("popen-") else base
    out, turn, done = (shared / f"{job}{end}" for end in ("", ".turn", ".done"))
    try:
        turn.mkdir()
    except FileExistsError:
        waited = 0.0
        while not done.exists():
            assert waited < LONGEST_WAIT, f"another test process did not prepare {job}"
            time.sleep(0.2)
            waited += 0.2
    else:
        try:
            prepare(EXAMPLES / f"{job}.toml", out)
        finally:
            done.touch()
    assert out.is_dir(), f"{job} was not prepared"
    return out


@pytest.fixture(scope="session")
def memory_board(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The set of the half-metre board; read it, do not change it."""
    return _prepared("memory-board", tmp_path_factory)


@pytest.fixture(scope="session")
def indicators(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The set of thirty small boards; read it, do not change it."""
    return _prepared("indicators", tmp_path_factory)


@pytest.fixture(params=["memory-board", "indicators"])
def example_set(request: pytest.FixtureRequest) -> Path:
    """Each example's set in turn."""
    name = {"memory-board": "memory_board", "indicators": "indicators"}[request.param]
    folder: Path = request.getfixturevalue(name)
    return folder
