"""README and guide as they are read: their blocks, run in order in a folder of their own.

A remark in front of a block says what the block is. Its parts are separated by semicolons:

    <!-- file: board.toml; with: lamp.dxf -->    a file of this name; with its drawings
    <!-- into: board.toml -->                    keys that change this job, which must stay valid
    <!-- bench: my-mill.toml -->                 keys that change this bench file
    <!-- set: rail -->                           0123456789ab stands for the id of the set in rail
    <!-- filled: rail-surface -->                heights for the table in this folder, else 0
    <!-- files of: rail -->                      a list of files that the set has
    <!-- with: a.dxf as b.dxf, c.toml -->        examples that must be there
    <!-- ends with: 1 -->                        the exit code of the commands
    <!-- run: millprep prepare … -->             a command that an earlier page shows
    <!-- installs -->, <!-- completes -->        lines for a shell
"""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from click.testing import CliRunner, Result

import millprep
from millprep.cli.main import commands

ROOT = Path(__file__).parents[2]
GUIDE = ROOT / "millprep" / "guide"
PAGES = {"README": ROOT / "README.md"} | {file.stem: file for file in sorted(GUIDE.glob("*.md"))}
EXAMPLES = [
    ROOT / "examples" / "lighthouse",
    ROOT / "examples" / "rules",
    ROOT / "fixtures/dialects",
]
BLOCK = re.compile(
    r"(?:^<!-- (?P<remark>[^>]*) -->\n)?^```(?P<kind>\w*)\n(?P<text>.*?)^```$", re.M | re.S
)
RUN = re.compile(r"^<!-- (?P<remark>run: [^>]*) -->$", re.M)
SET = "0123456789ab"


@dataclass(frozen=True)
class Block:
    """A block of a page: what is between the fences, and what the remark says of it."""

    kind: str
    text: str
    says: dict[str, str] = field(default_factory=dict)

    @property
    def brings(self) -> list[str]:
        """Example files that must be there."""
        return [name.strip() for name in self.says.get("with", "").split(",") if name.strip()]


def _says(remark: str | None) -> dict[str, str]:
    parts = (part.partition(":") for part in (remark or "").split(";") if part.strip())
    return {name.strip(): value.strip() for name, _, value in parts}


def blocks(text: str) -> list[Block]:
    """The blocks of a page in order, and the commands that it only names in a remark."""
    found = [
        (match.start(), Block(match["kind"], match["text"], _says(match["remark"])))
        for match in BLOCK.finditer(text)
    ]
    for match in RUN.finditer(text):
        says = _says(match["remark"])
        found.append((match.start(), Block("sh", says.pop("run") + "\n", says)))
    return [block for _, block in sorted(found, key=lambda each: each[0])]


def files_of_pages() -> dict[str, str]:
    """Every job that a page shows as a whole."""
    return {
        block.says["file"]: block.text
        for page in PAGES.values()
        for block in blocks(page.read_text("utf-8"))
        if block.says.get("file", "").endswith(".toml") and SET not in block.text
    }


def bring(folder: Path, name: str) -> None:
    """Put an example into a folder, or a job that a page shows, with what it draws on.

    `a as b` gives it another name there.
    """
    name, _, target = name.partition(" as ")
    there = folder / (target or name)
    source = next((room / name for room in EXAMPLES if (room / name).is_file()), None)
    if source is None:
        there.write_text(files_of_pages()[name], "utf-8")
    else:
        shutil.copy(source, there)
    if there.suffix == ".toml":
        bring_drawings(folder, there.read_text("utf-8"))


def bring_drawings(folder: Path, job: str) -> None:
    """Put the drawings and netlists that a job names beside it."""
    for drawing in re.findall(r'"([\w-]+(?:\.dxf|-netlist\.csv))"', job):
        if not (folder / drawing).exists():
            bring(folder, drawing)


def merged(old: Any, new: Any) -> Any:
    """A job with the keys of a fragment; one table changes the last of several."""
    if isinstance(old, dict) and isinstance(new, dict):
        return old | {key: merged(old[key], new[key]) if key in old else new[key] for key in new}
    if isinstance(old, list) and isinstance(new, dict):
        return [*old[:-1], merged(old[-1], new)]
    tables = (isinstance(each, list) and each and isinstance(each[0], dict) for each in (old, new))
    if all(tables) and len(old) == len(new):
        return [merged(a, b) for a, b in zip(old, new, strict=True)]
    return new


def toml(value: Any) -> str:
    """A value as TOML on one line."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k)} = {toml(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


def id_of(folder: Path) -> str:
    """The id of the set in a folder."""
    found: str = json.loads((folder / "report.json").read_text("utf-8"))["set"]
    return found


def filled(table: str, heights: str) -> str:
    """The table that `probe` wrote, with the heights that a page gives and 0 elsewhere."""
    given = {line.rpartition(",")[0]: line for line in heights.splitlines() if line[:1].isdigit()}
    lines = [given.pop(line.rstrip(","), "") or line for line in table.splitlines()]
    assert not given, f"{given} are no points of the table"
    return "".join(f"{line}0.000\n" if line.endswith(",") else f"{line}\n" for line in lines)


def write(folder: Path, block: Block) -> None:
    """Write a file as a page shows it; a job must be one."""
    name = block.says.get("file") or block.says.get("into") or block.says["bench"]
    if "file" not in block.says and not (folder / name).exists():
        bring(folder, name)
    text = block.text
    if "set" in block.says:
        assert SET in text
        text = text.replace(SET, id_of(folder / block.says["set"]))
    if "filled" in block.says:
        (table,) = (folder / block.says["filled"]).glob("*.csv")
        text = filled(table.read_text("utf-8"), text)
    if "file" not in block.says:
        job = merged(tomllib.loads((folder / name).read_text("utf-8")), tomllib.loads(text))
        text = "".join(f"{json.dumps(key)} = {toml(value)}\n" for key, value in job.items())
    (folder / name).write_text(text, "utf-8")
    if name.endswith(".toml") and block.says.keys().isdisjoint({"set", "bench"}):
        bring_drawings(folder, text)
        millprep.load_job(folder / name)


def contents(folder: Path) -> str:
    """What the files of a folder hold, its subfolders aside."""
    return " ".join(
        f"{file.name} {hashlib.sha256(file.read_bytes()).hexdigest()}"
        for file in sorted(folder.iterdir())
        if file.is_file()
    )


def command(*words: str, **environment: str) -> Result:
    """A command run in this process, in the current folder."""
    return CliRunner().invoke(commands, list(words), prog_name="millprep", env=environment)


def lines(block: Block) -> Iterator[str]:
    """The commands of a block."""
    return (line for line in block.text.splitlines() if line and not line.startswith("#"))
