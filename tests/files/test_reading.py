"""Files are read whole, and what no reader can take is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.files import reading
from millprep.model.finding import Refusal
from millprep.workflow.set_on_disk import RUNS


def test_a_text_nested_too_deep_is_a_bad_value() -> None:
    assert reading.json_value(b"[[1]]") == [[1]]
    with pytest.raises(ValueError, match="nested too deep"):
        reading.json_value(b"[" * 500_000)


def test_a_folder_in_place_of_a_file_of_rows_is_refused(tmp_path: Path) -> None:
    with pytest.raises(Refusal, match=r"cannot be read \(Is a directory\)") as refused:
        RUNS.load(tmp_path)
    assert refused.value.exit_code == 2
