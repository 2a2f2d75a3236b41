"""What must hold between the keys of a job file.

The checks run on whatever single keys came through, so a file with many mistakes tells of
all of them at once. A key that failed or is missing is simply not compared.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Any

import shapely

from millprep.job.bed import BlankTable, ClampTable, LayoutTable, MachineTable, SetupTable
from millprep.job.board import BoardTable
from millprep.job.board_checks import check_board, ordered
from millprep.job.clearing import ClearingTable
from millprep.job.clearing_checks import check_clearing
from millprep.job.dialect_checks import check_dialect
from millprep.job.fields import filled, plain
from millprep.job.mistakes import Mistake, near, quoted, wrong
from millprep.job.pins_checks import check_pins
from millprep.job.places import KeyPath
from millprep.job.probe import check_log, check_probe
from millprep.job.rules import RulesTable
from millprep.job.tools import CUTTER_TABLES
from millprep.job.work import DrillingTable, IsolationTable, ProfileTable, RegistrationTable

USES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("isolation", "cutters", ("vee", "endmill")),
    ("clearing", "cutters", ("vee", "endmill")),
    ("drilling", "cutters", ("drill",)),
    ("drilling", "borer", ("endmill",)),
    ("profile", "cutter", ("endmill",)),
    ("registration", "cutters", ("drill", "endmill")),
    ("registration", "probe_cutter", ("endmill",)),
)
"""Which kinds of cutter may do what."""


class Good:
    """The keys that came through, with the defaults of those that were not written.

    A key that failed is None.
    """

    def __init__(self, data: dict[str, Any], defined: Iterable[str]) -> None:
        self.defined = list(defined)
        setup = data.get("setup")
        self.has_setup = setup is not None
        self.machine = filled(MachineTable, data.get("machine"))
        self.blanks = [filled(BlankTable, table) for table in data.get("blank") or []]
        self.setup = filled(SetupTable, setup)
        self.clamps = [filled(ClampTable, table) for table in self.setup["clamp"] or []]
        self.boards = [filled(BoardTable, table) for table in data.get("board") or []]
        self.cutters = {
            name: filled(CUTTER_TABLES[table["kind"]], table)
            for name, table in (data.get("cutters") or {}).items()
            if table and table.get("kind")
        }
        self.isolation = filled(IsolationTable, data.get("isolation"))
        self.has_clearing = data.get("clearing") is not None
        self.clearing = filled(ClearingTable, data.get("clearing"))
        self.drilling = filled(DrillingTable, data.get("drilling"))
        self.profile = filled(ProfileTable, data.get("profile"))
        self.registration = filled(RegistrationTable, data.get("registration"))
        self.layout = filled(LayoutTable, data.get("layout"))
        self.rules = filled(RulesTable, data.get("rules"))

    def used(self, table: str, key: str) -> list[tuple[KeyPath, str]]:
        """The cutters a key names, each with its place."""
        value = getattr(self, table).get(key)
        if isinstance(value, str):
            return [((table, key), value)]
        return [((table, key, i), name) for i, name in enumerate(value or [])]


def check(good: Good) -> Iterator[Mistake]:
    """Yield every contradiction."""
    yield from _names(good)
    for i, board in enumerate(good.boards):
        yield from check_board(("board", i), board)
    yield from _uses(good)
    yield from _machine(good)
    yield from check_dialect(good.machine, good.registration)
    yield from _setup(good)
    yield from _blanks(good)
    yield from _cutters(good)
    yield from _work(good)
    yield from check_clearing(good.isolation, good.clearing if good.has_clearing else None)
    yield from check_pins(good.rules)
    yield from check_probe(good.registration, good.cutters, good.blanks)


def _above(value: float | None, limit: float | None) -> bool:
    return value is not None and limit is not None and value > limit


def _reaches(value: float | None, limit: float | None) -> bool:
    return value is not None and limit is not None and value >= limit


def _names(good: Good) -> Iterator[Mistake]:
    boards = [((("board", i, "name")), table.get("name")) for i, table in enumerate(good.boards)]
    cutters = [(("cutters", name), name) for name in good.defined]
    for paths in (boards, cutters):
        seen: set[str] = set()
        for path, name in paths:
            # Some file systems do not tell capitals from small letters.
            if name is not None and name.casefold() in seen:
                yield wrong(
                    path, f"has a name twice, capitals aside: {plain(name)}; choose another"
                )
            elif name is not None:
                seen.add(name.casefold())
    for i, board in enumerate(good.boards):
        for j, (start, end) in enumerate(board["links"] or []):
            if start == end:
                yield wrong(("board", i, "links", j), "must lead from one point to another")


def _uses(good: Good) -> Iterator[Mistake]:
    for table, key, kinds in USES:
        seen: set[str] = set()
        for path, name in good.used(table, key):
            if name in seen:
                yield wrong(path, f"names {plain(name)} a second time; once is enough")
                continue
            seen.add(name)
            if name not in good.defined:
                words = f"names a cutter that is not defined: {plain(name)}"
                words += near(name, good.defined)
                words += f"; defined: {quoted(good.defined) or 'none'}"
                yield Mistake("job-unknown-cutter", path, words)
            elif name in good.cutters and good.cutters[name]["kind"] not in kinds:
                kind = good.cutters[name]["kind"]
                yield wrong(path, f"must be of kind {' or '.join(kinds)}; {plain(name)} is {kind}")


def _machine(good: Good) -> Iterator[Mistake]:
    machine = good.machine
    if _above(machine["clearance"], machine.get("above")):
        yield wrong(
            ("machine", "clearance"),
            f"must be at most the free travel above the copper, {machine['above']:g} mm; "
            f"got {machine['clearance']:g}",
        )
    travel, zero = machine.get("travel"), machine["zero"]
    if travel and zero and any(map(_above, zero, travel)):
        yield wrong(
            ("machine", "zero"), f"must lie within the travel {plain(travel)}; got {plain(zero)}"
        )
    if machine["probe_log"] is not None:
        yield from check_log(("machine", "probe_log"), machine["probe_log"])


def _setup(good: Good) -> Iterator[Mistake]:
    setup = good.setup
    if good.has_setup and setup["tape"] is False and setup["clamp"] == []:
        words = "names nothing that holds the blank; list [[setup.clamp]] or say tape = true"
        yield Mistake("job-missing-key", ("setup",), words)
    for i, clamp in enumerate(good.clamps):
        if clamp.get("box"):
            yield from ordered(("setup", "clamp", i, "box"), clamp["box"])
    travel, zero, touch = good.machine.get("travel"), good.machine["zero"], setup["touch"]
    if travel and zero and touch:
        low = [0.0 - zero[0], 0.0 - zero[1]]
        high = [travel[0] - zero[0], travel[1] - zero[1]]
        if any(map(_above, low, touch)) or any(map(_above, touch, high)):
            words = f"must lie within the travel, {plain(low)} to {plain(high)}; got {plain(touch)}"
            yield wrong(("setup", "touch"), words)


def _blanks(good: Good) -> Iterator[Mistake]:
    cutter = good.cutters.get(good.profile.get("cutter") or "", {}).get("diameter")
    for i, blank in enumerate(good.blanks):
        copper, thickness, size = blank.get("copper"), blank.get("thickness"), blank.get("size")
        if _reaches(copper, thickness):
            yield wrong(
                ("blank", i, "copper"),
                f"must be below the thickness of {thickness:g} mm; got {copper:g}",
            )
        if size and _reaches(blank["margin"], min(size) / 2):
            yield wrong(
                ("blank", i, "margin"),
                f"must leave room between both edges, so be below {min(size) / 2:g} mm; "
                f"got {blank['margin']:g}",
            )
        if size and blank["outline"]:
            yield from _offcut(("blank", i, "outline"), size, blank["outline"])
        if _above(cutter, blank["spacing"]):
            yield wrong(
                ("blank", i, "spacing"),
                f"must let the profile cutter of {cutter:g} mm pass; got {blank['spacing']:g}",
            )
        elif blank["shared_kerf"] and _above(blank["spacing"], cutter):
            yield wrong(
                ("blank", i, "spacing"),
                f"must be left out, or be the profile cutter's {cutter:g} mm, with shared_kerf = "
                f"true; got {blank['spacing']:g}",
            )


def _offcut(path: KeyPath, size: list[float], corners: list[list[float]]) -> Iterator[Mistake]:
    """An offcut's outline encloses an area, does not cross itself, and reaches every side."""
    shape = shapely.Polygon(corners)
    if not shape.is_valid or shape.area <= 0:
        yield wrong(path, "must go round an area without crossing itself")
        return
    box = [round(value, 4) for value in shape.bounds]
    if box != [0.0, 0.0, round(size[0], 4), round(size[1], 4)]:
        words = f"must just fit the size, from [0, 0] to {plain(size)}; it spans {plain(box)}"
        yield wrong(path, words)


def _cutters(good: Good) -> Iterator[Mistake]:
    limits = (("feed", "max_feed"), ("plunge", "max_plunge"), ("spindle", "max_spindle"))
    for name, cutter in good.cutters.items():
        for key, limit in limits:
            value, most = cutter.get(key), good.machine.get(limit)
            if _above(value, most):
                yield wrong(
                    ("cutters", name, key),
                    f"must be at most {limit} of the machine, {most:g}; got {value:g}",
                )
        if _above(cutter.get("flute"), cutter.get("stickout")):
            yield wrong(
                ("cutters", name, "flute"),
                f"must be at most the stickout of {cutter['stickout']:g} mm; "
                f"got {cutter['flute']:g}",
            )
        if _above(cutter.get("tip"), cutter.get("shank")):
            yield wrong(
                ("cutters", name, "tip"),
                f"must be at most the shank of {cutter['shank']:g} mm; got {cutter['tip']:g}",
            )
        chips = cutter.get("chip_load")
        if chips and _reaches(*chips):
            yield wrong(
                ("cutters", name, "chip_load"), f"must be [least, most]; got {plain(chips)}"
            )


def _work(good: Good) -> Iterator[Mistake]:
    floor = good.drilling.get("spoilboard")
    reach = good.profile.get("breakthrough")
    if _reaches(reach, floor):
        yield wrong(
            ("profile", "breakthrough"),
            f"must end within the spoilboard of {floor:g} mm; got {reach:g}",
        )
    for path, name in good.used("drilling", "cutters"):
        drill = good.cutters.get(name, {})
        diameter, angle = drill.get("diameter"), drill.get("point_angle")
        through = good.drilling["breakthrough"]
        if diameter is None or angle is None or through is None:
            continue
        deepest = through + diameter / 2 / math.tan(math.radians(angle) / 2)
        if _reaches(deepest, floor):
            yield wrong(
                path,
                f"would pass the spoilboard of {floor:g} mm: the point of {plain(name)} goes "
                f"{deepest:.2f} mm below the blank; use a thicker board or less breakthrough",
            )
    thinnest = min((b["thickness"] for b in good.blanks if b.get("thickness")), default=None)
    if _reaches(good.profile["tab_height"], thinnest):
        yield wrong(
            ("profile", "tab_height"),
            f"must be below the laminate's thickness of {thinnest:g} mm; "
            f"got {good.profile['tab_height']:g}",
        )
    if _reaches(good.profile["tab_width"], good.profile["tab_every"]):
        yield wrong(
            ("profile", "tab_every"),
            f"must be above tab_width, {good.profile['tab_width']:g} mm; "
            f"got {good.profile['tab_every']:g}",
        )
    pins = good.registration
    if _reaches(pins["hole"], pins["key"]):
        yield wrong(
            ("registration", "key"), f"must be above hole, {pins['hole']:g} mm; got {pins['key']:g}"
        )
    if pins["method"] == "pins" and _reaches(pins["pin"], pins["hole"]):
        yield wrong(
            ("registration", "pin"),
            f"must be below hole, {pins['hole']:g} mm, for a press fit; got {pins['pin']:g}",
        )
    if _above(pins["pin_depth"], floor):
        yield wrong(
            ("registration", "pin_depth"),
            f"must be at most the spoilboard of {floor:g} mm; got {pins['pin_depth']:g}",
        )
