"""The picture of the as-cut copper of a refused run: every fault has a circle."""

from __future__ import annotations

import re
from pathlib import Path
from unittest import mock

import pytest

from millprep.gcode.writing import write_programs
from millprep.model.finding import Refusal
from millprep.model.set_of_programs import CutSet
from millprep.report import marks
from millprep.workflow import prepare as walk
from tests.helpers import small_job


def shallow(cut_set: CutSet, folder: Path) -> CutSet:
    """The programs of a set, isolation so shallow that it leaves the foot of the copper."""
    written = write_programs(cut_set, folder)
    for file in folder.rglob("*isolate*.ngc"):
        text = file.read_text("ascii")
        file.write_text(re.sub(r"Z-[\d.]+", "Z-0.0100", text), "ascii")
    return written


def test_every_fault_of_a_refused_run_is_circled_on_the_copper(tmp_path: Path) -> None:
    with (
        mock.patch.object(walk, "write_programs", shallow),
        mock.patch.object(marks, "circled", wraps=marks.circled) as drawn,
        pytest.raises(Refusal) as caught,
    ):
        walk.prepare(small_job.put(tmp_path), tmp_path / "out")
    placed = [f for f in caught.value.findings if f.at is not None and f.severity != "note"]
    assert "copper-short" in [finding.code for finding in placed]
    circled = [call.args[1] for call in drawn.call_args_list]
    for finding in placed:
        assert finding.at is not None
        assert any(finding.at == pytest.approx(at) for at in circled)
    assert (tmp_path / "out-refused" / "previews" / "blank-1-as-cut.png").is_file()
    assert not (tmp_path / "out").exists()
    assert list(tmp_path.rglob("*.ngc")) == []
