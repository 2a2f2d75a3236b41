"""The README's job file is a job that prepares."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from millprep.workflow.prepare import prepare

ROOT = Path(__file__).parents[1]


def test_the_job_in_the_readme_prepares(tmp_path: Path) -> None:
    found = re.search(r"```toml\n(name = .*?)```", (ROOT / "README.md").read_text("utf-8"), re.S)
    assert found
    job = tmp_path / "job.toml"
    job.write_text(found.group(1), "utf-8")
    shutil.copy(ROOT / "examples" / "lighthouse" / "lamp-indicator.dxf", tmp_path)
    cut_set = prepare(job, tmp_path / "out")
    assert {f.severity for f in cut_set.findings} <= {"note"}
    assert [p.work for p in cut_set.programs] == ["dry-run", "isolate", "bore", "profile"]
