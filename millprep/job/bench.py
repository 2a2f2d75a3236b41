"""The bench file: the mill, what holds the blank, cutters and laminates, for many jobs.

It holds tables of a job file. A job takes from it what it does not state itself, key by key.
"""

from __future__ import annotations

import json
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from types import MappingProxyType
from typing import Any, NamedTuple

import platformdirs

from millprep.job.copies import Sources
from millprep.job.presets import presets
from millprep.model.job.keys import NamedFile
from millprep.model.job.layers import DrawnFrom
from millprep.model.job.mistakes import KeyPath, Mistake, near, plain
from millprep.model.machine import Spindle

FILE = "bench.toml"
"""What a bench file is called where no job names it."""

TABLES = (
    *("machine", "setup", "blank", "cutters", "presets", "drawings"),
    *("isolation", "clearing", "drilling", "profile", "registration", "legend", "rules"),
)
"""What a bench file may hold: all of a job but its name, its boards and their layout."""
OF_DRAWINGS = ("drawn_from", "unit", "layers", "close_gaps", "outline_margin", "outline_pen")
"""What [drawings] of a bench may say of every board: keys of [[board]]."""
EDGES = ("outline_box", "outline_margin")
"""Keys that give a board's edge without a layer."""


def bench_of(job_file: Path, written: dict[str, Any], kept: Sources | None) -> NamedFile | None:
    """The bench file that a job takes; None for a job that needs none or where there is none.

    It is the one that the job names. A job without [machine] that names none takes the one next
    to it, or else the one in the person's configuration folder.
    """
    named = written.get("bench")
    if kept is not None:
        return kept.bench
    if isinstance(named, str) and named:
        return NamedFile((job_file.parent / named).resolve(), named)
    if "bench" in written or "machine" in written:
        return None
    file = nearest(job_file.parent)
    return None if file is None else NamedFile(file.resolve(), FILE)


def nearest(folder: Path) -> Path | None:
    """The bench file of a folder, or else that of the person's configuration folder."""
    folders = (folder, platformdirs.user_config_path("millprep", appauthor=False))
    return next((f / FILE for f in folders if (f / FILE).is_file()), None)


def not_of_a_bench(written: dict[str, Any]) -> Iterator[Mistake]:
    """A mistake for every key that belongs into a job."""
    for key in written:
        if key not in TABLES:
            words = f"is no table of a bench file, which may hold {', '.join(TABLES)}"
            yield Mistake("job-unknown-key", (key,), words)
    drawings = written.get("drawings", {})
    if not isinstance(drawings, dict):
        words = f"must be a table headed [drawings]; got {plain(drawings)}"
        yield Mistake("job-wrong-type", ("drawings",), words)
        return
    for key in drawings:
        if key not in OF_DRAWINGS:
            words = f"is no key that all drawings may share; allowed: {', '.join(OF_DRAWINGS)}"
            yield Mistake("job-unknown-key", ("drawings", key), words)


def with_paths(written: dict[str, Any], file: Path, kept: Sources | None) -> dict[str, Any]:
    """A bench whose paths start at its own folder; only the log of runs is one."""
    machine = written.get("machine")
    time = machine.get("time") if isinstance(machine, dict) else None
    log = time.get("log") if isinstance(time, dict) else None
    if not isinstance(machine, dict) or not isinstance(time, dict) or not isinstance(log, str):
        return written
    copies = {} if kept is None else kept.files
    named = NamedFile(copies.get(log, file.parent / log).resolve(), log) if log else log
    return {**written, "machine": {**machine, "time": {**time, "log": named}}}


def merged(
    bench: dict[str, Any], job: dict[str, Any], at: KeyPath = ()
) -> tuple[dict[str, Any], set[KeyPath]]:
    """A job's tables over those of its bench, key by key, and what of the bench is replaced.

    A table in which the job names a preset or a kind begins anew: what the bench knows of its own
    cutter is not true of another.
    """
    both = dict(bench)
    replaced: set[KeyPath] = set()
    for key, value in job.items():
        below = bench.get(key)
        anew = isinstance(value, dict) and not value.keys().isdisjoint({"preset", "kind"})
        if isinstance(value, dict) and isinstance(below, dict) and not anew:
            both[key], more = merged(below, value, (*at, key))
            replaced |= more
            continue
        both[key] = value
        if key in bench:
            replaced.add((*at, key))
    return both, replaced


class Taken(NamedTuple):
    """What the boards of a job take from [drawings] of its bench.

    Attributes:
        origins: for each board, where the bench writes it.
        sided: places of the boards that take `drawn_from`.
    """

    origins: Mapping[KeyPath, KeyPath] = MappingProxyType({})
    sided: tuple[int, ...] = ()


def with_drawings(drawings: dict[str, Any], boards: Sequence[Any]) -> tuple[list[Any], Taken]:
    """Boards over what the bench says of all drawings, key by key.

    A board that gives its edge in one way takes no other from the bench. Layers are those of a
    board that one file draws; a file of its own for edge or holes has its own.
    """
    filled: list[Any] = []
    origins: dict[KeyPath, KeyPath] = {}
    for i, board in enumerate(boards):
        if not isinstance(board, dict):
            filled.append(board)
            continue
        said = dict(drawings)
        layers, drawing = board.get("layers"), board.get("drawing")
        own_layers = layers if isinstance(layers, dict) else {}
        common = dict(said["layers"]) if isinstance(said.get("layers"), dict) else {}
        elsewhere = isinstance(drawing, dict) and "outline" in drawing
        if elsewhere or own_layers.get("outline") or not board.keys().isdisjoint(EDGES):
            for key in ("outline_margin", "close_gaps", "outline_pen"):
                said.pop(key, None)
            common.pop("outline", None)
        if "copper" in own_layers:
            common = {k: v for k, v in common.items() if k not in ("modes", "widths")}
        if isinstance(drawing, dict):
            common = {}
        if "layers" in said:
            said["layers"] = common
        filled.append(merged(said, board)[0])
        origins["board", i] = ("drawings",)
    sided = (
        i
        for i, board in enumerate(boards)
        if isinstance(board, dict) and "drawn_from" in drawings and "drawn_from" not in board
    )
    return filled, Taken(origins, tuple(sided))


def is_below(path: KeyPath, tops: Collection[KeyPath]) -> bool:
    """Whether a path is one of others, or lies within one."""
    return any(path[:n] in tops for n in range(1, len(path) + 1))


@dataclass(frozen=True, slots=True)
class BenchAnswers:
    """What a person says of a bench; lengths in mm.

    Attributes:
        travel: how far the spindle goes, (x, y).
        spindle: who switches it.
        sheet: size of the laminate that is usually cut, (x, y).
        laminate: its preset.
        cutters: presets of the cutters in the drawer.
        drawn_from: the side that all drawings are seen from; None where they differ.
    """

    travel: tuple[float, float]
    spindle: Spindle
    sheet: tuple[float, float]
    laminate: str
    cutters: Sequence[str]
    drawn_from: DrawnFrom | None = None


def bench_text(answers: BenchAnswers, name: str) -> str:
    """The text of a bench file.

    Raises:
        ValueError: for an unknown preset, and when no cutter isolates or none cuts boards out.
    """
    known = presets()
    for kind, names in (("cutters", answers.cutters), ("laminates", [answers.laminate])):
        for preset in names:
            if preset not in known[kind]:
                raise ValueError(
                    f"there is no {kind[:-1]} preset {preset}{near(preset, known[kind])}; there "
                    f"are {', '.join(known[kind])}"
                )
    by_kind: dict[str, list[str]] = {"vee": [], "endmill": [], "drill": []}
    for preset in dict.fromkeys(answers.cutters):
        by_kind[known["cutters"][preset]["kind"]].append(preset)
    if not by_kind["endmill"]:
        raise ValueError("no end mill is among the cutters, so no board could be cut out")
    mill = max(by_kind["endmill"], key=lambda preset: known["cutters"][preset]["diameter"])
    isolating = by_kind["vee"] or by_kind["endmill"]
    tables = [
        f'[cutters.{_cutter_name(preset)}]\npreset = "{preset}"\n'
        for named in by_kind.values()
        for preset in named
    ]
    file = resources.files("millprep.job") / "bench.txt"
    return file.read_text(encoding="utf-8").format(
        name=json.dumps(name),
        travel="{}, {}".format(*answers.travel),
        spindle=answers.spindle,
        laminate=answers.laminate,
        sheet="{}, {}".format(*answers.sheet),
        cutters="\n".join(tables),
        isolating=json.dumps([_cutter_name(p) for p in isolating]),
        drills=json.dumps([_cutter_name(p) for p in by_kind["drill"]]),
        mill=_cutter_name(mill),
        drawings="\n".join(_drawings(answers.drawn_from)),
    )


def _drawings(side: DrawnFrom | None) -> list[str]:
    layers = '# layers = { copper = ["TRACKS"], outline = ["EDGE"], holes = ["HOLES"] }'
    if side is None:
        return ["# [drawings]", '# drawn_from = "components"   # or "copper"', layers]
    return ["[drawings]", f'drawn_from = "{side}"', layers]


def _cutter_name(preset: str) -> str:
    return preset.replace(".", "")
