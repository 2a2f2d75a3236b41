"""A complete job and ways to change it."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.job import load
from millprep.model.finding import Finding, Refusal

JOB = """\
name = "Lamp sequencer"

[machine]
preset = "small-mill-300"

[blank]
preset = "fr4-1.6-35"
size = [500.0, 110.0]

[setup]
tape = true

[[board]]
name = "memory"
drawing = "memory.dxf"
drawn_from = "components"
layers = { copper = ["TRACKS"], outline = ["EDGE"], holes = ["PINS"] }

[cutters.vee]
preset = "vee-30-0.1"

[cutters.mill]
preset = "endmill-2"

[cutters.drill]
preset = "drill-1.0"

[isolation]
gap = 0.3
cutters = ["vee"]

[drilling]
cutters = ["drill"]
borer = "mill"
spoilboard = 6.0

[profile]
cutter = "mill"
"""


def changed(old: str, new: str, text: str = JOB) -> str:
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the job"
    return text.replace(old, new)


def write(folder: Path, text: str = JOB) -> Path:
    (folder / "memory.dxf").touch()
    file = folder / "job.toml"
    file.write_text(text, encoding="utf-8")
    return file


def findings(folder: Path, text: str) -> list[Finding]:
    """What the loader says about a text; paths cut down to the file's name."""
    file = write(folder, text)
    with pytest.raises(Refusal) as refused:
        load(file)
    assert refused.value.exit_code == 2
    assert all(f.severity == "stop" and f.file == str(file) for f in refused.value.findings)
    return list(refused.value.findings)


def messages(folder: Path, text: str) -> list[str]:
    return [f.message.removeprefix(f"{folder}/") for f in findings(folder, text)]
