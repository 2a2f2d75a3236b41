"""A report is read back as what it was made of; a damaged one is refused, with the place."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.blank import Box
from millprep.model.finding import Refusal
from millprep.model.machine_time import TimeFit
from millprep.model.milling_pass import EdgeCheck, ExtraSupport, Holding, MarginText, Vernier
from millprep.model.set_of_programs import CutSet
from millprep.model.surface_map import Levelling, SurfaceMap
from millprep.report import report_file
from millprep.report.report_model import Report
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented

MAP = SurfaceMap(
    np.array([0.0, 50.0, 100.0]), np.array([0.0, 40.0, 80.0]), np.arange(9.0).reshape(3, 3) / 100
)
LATER = {
    ("passes", "holding"), ("passes", "drop_on"), ("passes", "edge"), ("passes", "read"),
    ("passes", "texts"),
    ("passes", "registration", "free"), ("passes", "registration", "slot"),
    ("passes", "registration", "pin"), ("passes", "programs", "least_seconds"),
    ("passes", "programs", "by_feeds_seconds"), ("by_feeds_seconds",), ("least_seconds",),
    ("by_hand",), ("time_fit",), ("machine",), ("time_log",), ("boards", "pieces", "pins"),
    ("findings", "places"), ("boards", "proof", "too_much"),
    ("boards", "proof", "too_little"), ("boards", "rules", "spacing", "way"),
    ("boards", "tabs"),
}  # fmt: skip
"""Keys that older reports lack."""
GOOD = Report.of(invented(4))
TEXT = GOOD.model_dump_json(by_alias=True)


def rich() -> CutSet:
    """A set with everything that a later command reads of one, none of it at its default."""
    whole = invented(4)
    first, second = whole.passes
    vernier = Vernier("v1", 1, (250.0, 7.0), "x", (1, 2), 1.0, 0.02, 5)
    levelling = Levelling(1, 2, MAP, "map.csv", 0.004, True, 0.013)
    pose = Pose(0.8, -0.6, 1.5, 0.6, 0.8, 2.5)
    more = ExtraSupport("clamp", Box(10, -15, 25, 4), 0.02, 0.0)
    held = Holding(2.0, 0.04, 0.025, (30.0, 40.0), 0.2, (Box(0, -15, 50, 4),), (more,))
    edge = EdgeCheck((287.5, 30.0), 1, 0.4, "registration hole r2")
    first = replace(first, holding=held, edge=edge)
    hole, slot, key = second.registration
    slot = replace(slot, free=(0.6, 0.8), slot=0.98, pin="p2")
    second = replace(second, registration=(hole, slot, key), drop_on=0.9)
    texts = (
        MarginText("LAMP 1", (20.5, 3.0), 90, 2.0, "lamp", 1, 31.5),
        MarginText("SET 0123456789AB", (60.5, 3.0), 0, 3.0, None, None, 50.0),
    )
    first = replace(first, texts=texts)
    passes = (first, replace(second, verniers=(vernier,), pose=pose, levelling=levelling))
    joins = tuple(
        replace(
            join, predicted=0.05, predicted_rms=0.02, tolerance_electrical=0.3, tolerance_gap=0.1,
            tick=0.4, across=(0.0, 1.0),
        )
        for join in whole.joins
    )  # fmt: skip
    offcut = shapely.Polygon([(0, 0), (340, 0), (340, 80), (300, 110), (0, 110)])
    laminate = replace(whole.blanks[0].laminate, outline=offcut)
    fitted = replace(whole, time_fit=TimeFit(1.04, 3, 0.02))
    return with_blank(fitted, passes=passes, joins=joins, laminate=laminate)


def read(folder: Path, text: str | bytes) -> Report:
    raw = text.encode() if isinstance(text, str) else text
    (folder / "report.json").write_bytes(raw)
    return report_file.read(folder)


def test_a_report_is_read_as_it_was_written(tmp_path: Path) -> None:
    report = Report.of(rich())
    report_file.write(report, tmp_path)
    assert report_file.read(tmp_path) == report


def same(read: object, made: object, but: set[str]) -> None:
    """Every field of a value is read back, but those that the report does not hold."""
    assert type(read) is type(made)
    for field in fields(made):  # type: ignore[arg-type]  # both are dataclasses
        if field.name not in but:
            was, now = getattr(made, field.name), getattr(read, field.name)
            assert was.equals(now) if isinstance(was, shapely.Polygon) else was == now, field.name


def same_rows(read: Sequence[object], made: Sequence[object], but: set[str]) -> None:
    """Every field of every value is read back, but those that the report does not hold."""
    for now, value in zip(read, made, strict=True):
        same(now, value, but)


def test_no_reader_forgets_a_field() -> None:
    made = rich()
    report = Report.of(made)
    layout = report.layout([made.layout.placements[0].board])
    same_rows(layout.blanks, made.layout.blanks, {"grade", "modulus", "poisson"})
    same_rows(layout.placements, made.layout.placements, set())
    same_rows(report.milling_passes(), made.passes, {"programs", "holding"})
    joins = report.joins_on(layout, {1: 0.7})
    same_rows(joins, made.joins, {"overrun"})
    assert {join.overrun for join in joins} == {0.7}
    programs = report.programs(made.cutters, made.machine)
    same_rows(programs, made.programs, {"moves", "notes", "start", "figures"})
    assert report.levellings == {(1, 2): made.passes[1].levelling}
    assert report.holes(1) == made.passes[1].registration
    assert report.verniers(1) == made.passes[1].verniers
    assert report.input_files == made.inputs
    assert report.program_files == tuple(program.file for program in made.programs)


def spoilt(*path: str | int, value: Any) -> str:
    """The report with another value in one place."""
    row = json.loads(TEXT)
    inner = row
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    return json.dumps(row)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("passes", 0, "touch", 1), "12"),
        (("passes", 0, "touch", 1), True),
        (("passes", 0, "touch", 1), None),
        (("passes", 0, "touch", 1), float("nan")),
        (("passes", 0, "touch", 1), float("inf")),
        (("passes", 0, "touch", 1), 10**400),
        (("passes", 0, "touch"), [1.0]),
        (("passes", 0, "touch"), {"x": 1.0}),
        (("passes", 0, "number"), 0),
        (("passes", 0, "number"), 1.5),
        (("passes", 0, "window"), [[0, 0], [1, 1]]),
        (("passes", 1, "blank_to_machine"), [2, 0, 0, 0, 2, 0]),
        (("passes", 1, "registration", 0, "role"), "pin"),
        (("passes", 0, "programs", 0, "work"), "paint"),
        (("joins", 0, "tick"), -1.0),
        (("cutters", "vee30", "kind"), "saw"),
        (("blanks", 0, "copper"), 5.0),
        (("inputs",), []),
        (("inputs", 0, "sha256"), "abc"),
        (("set",), 5),
        (("passes",), {}),
    ],
)
def test_a_wrong_value_is_refused_with_its_place(
    tmp_path: Path, path: tuple[str | int, ...], value: Any
) -> None:
    with pytest.raises(Refusal) as caught:
        read(tmp_path, spoilt(*path, value=value))
    assert caught.value.exit_code == 2
    (finding,) = caught.value.findings
    assert finding.code == "set-unreadable"
    # what a row as a whole refuses is said of the row
    at = ".".join(map(str, path[:2] if path[0] in ("cutters", "blanks") else path))
    assert f"at {at}" in finding.message


DAMAGES: list[Callable[[str], str | bytes]] = [
    lambda text: "",
    lambda text: text[: len(text) // 2],
    lambda text: "[" * 100_000,
    lambda text: b"\xff\xfe" + text.encode(),
    lambda text: text.replace('"number":1,', '"number":' + "9" * 5000 + ",", 1),
    lambda text: text.replace('"joins":', '"joints":'),
    lambda text: text.replace('"format":1', '"format":2'),
    lambda text: text.replace('"format":1', '"format":"1"'),
    lambda text: "null",
]


@pytest.mark.parametrize("damage", DAMAGES)
def test_a_damaged_report_is_refused(tmp_path: Path, damage: Callable[[str], str | bytes]) -> None:
    text = damage(TEXT)
    assert text != TEXT
    with pytest.raises(Refusal) as caught:
        read(tmp_path, text)
    assert caught.value.exit_code == 2


def keys(row: Any, path: tuple[str, ...] = ()) -> Iterator[tuple[str, ...]]:
    """The path to every key; of the rows of a list, those of the first one."""
    for name, value in row.items():
        yield (*path, name)
        first = value[0] if isinstance(value, list) and value else value
        if isinstance(first, dict):
            yield from keys(first, (*path, name))


def without(row: dict[str, Any], path: tuple[str, ...]) -> dict[str, Any]:
    """A row that lacks one key."""
    name, *rest = path
    if not rest:
        return {key: value for key, value in row.items() if key != name}
    inner = row[name]
    if isinstance(inner, list):
        return row | {name: [without(inner[0], tuple(rest)), *inner[1:]]}
    return row | {name: without(inner, tuple(rest))}


def test_no_key_may_be_missing() -> None:
    row = Report.of(rich()).row()
    paths = [path for path in keys(row) if path[:1] != ("cutters",) or len(path) > 2]
    assert len(paths) > 90
    for path in paths:
        if path in LATER:
            Report.model_validate_json(json.dumps(without(row, path)))
            continue
        with pytest.raises(ValueError, match=path[-1]):
            Report.model_validate_json(json.dumps(without(row, path)))


def test_no_key_may_be_unknown() -> None:
    row = GOOD.row()
    for path in {path[:-1] for path in keys(row) if path[:1] != ("cutters",)}:
        inner = row
        for step in path:
            inner = inner[step]
            inner = inner[0] if isinstance(inner, list) else inner
        inner["unknown"] = 1
        with pytest.raises(ValueError, match="unknown"):
            Report.model_validate_json(json.dumps(row))
        del inner["unknown"]
