"""The whole job: the blanks, how they are held, and what must hold between all tables."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path as File
from typing import Annotated

import shapely
from pydantic import Field
from pydantic.dataclasses import dataclass

from millprep.model.blank import STIFF, Grade
from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.job.board import BoardPlan, LayoutTable
from millprep.model.job.isolation import IsolationPlan
from millprep.model.job.keys import (
    LARGEST,
    NAME_ALLOWED,
    TABLE,
    FilePath,
    JobTable,
    Name,
    Pair,
    PositivePair,
    choice,
    entry,
    flag,
    number,
    preset_key,
)
from millprep.model.job.mistakes import Mistake, check, known, plain, settled, twice, wrong
from millprep.model.job.rules import RulesPlan
from millprep.model.job.setup import RegistrationPlan, SetupTable
from millprep.model.job.work import ClearingPlan, DrillingPlan, LegendPlan, ProfilePlan
from millprep.model.machine import Machine

SPACING_WEB = 2.0
"""Laminate left between the cuts around two boards, mm, so that tabs have something to hold to."""


def _spacing(job: JobPlan, blank: BlankPlan) -> float:
    kerf = job.profile.cutter.diameter
    return kerf if blank.shared_kerf else 2 * kerf + SPACING_WEB


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class BlankPlan(JobTable):
    """A size of copper-clad laminate: `[blank]`, or `[[blank]]` for several sizes."""

    preset: str | None = preset_key(
        "laminate", "Ready-made laminate to take thickness and copper from"
    )
    size: PositivePair = entry(
        "Size as it lies on the machine, [x, y]",
        "two plain numbers in mm above 0, [x, y]",
        unit="mm",
    )
    thickness: float = number("Carrier and copper together", "mm", above=0, most=20)
    copper: float = number("Thickness of the copper foil", "mm", above=0, most=1)
    margin: float = number(
        "Strip along every edge that no board enters; registration holes lie in it",
        "mm",
        default=10.0,
        least=0,
        most=LARGEST,
    )
    spacing: float = number(
        "Distance between neighbouring boards, at least; the profile cutter must fit",
        "mm",
        otherwise=_spacing,
        words="twice the profile cutter's diameter + 2, so that tabs find firm laminate between",
        above=0,
        most=LARGEST,
    )
    shared_kerf: bool = flag(
        "Common-line cutting: boards lie the profile cutter's diameter from each other, and where "
        "their straight edges run along each other one cut serves both",
        default=False,
    )
    count: int = number(
        "How many blanks of this size there are", "", default=1, least=1, most=1000, whole=True
    )
    outline: Annotated[tuple[Pair, ...], Field(min_length=3)] | None = entry(
        "Corners of an offcut in order, from the lower-left corner of the box around it",
        "a list of points in mm within the size, three at least, [[x, y], …]",
        unit="mm",
        default=None,
        words="the whole rectangle",
    )
    grade: Grade | None = choice(
        "Grade of the laminate; in paper a tooth may cut a thicker chip than in glass",
        Grade,
        default=None,
        words="unknown, taken for glass",
    )
    modulus: float = number(
        "Young's modulus of the laminate, for how far it bends under the cutter's pull",
        "GPa",
        otherwise=lambda _, blank: STIFF.get(blank.grade, STIFF["FR-4"]),
        words="22, of paper less; from memory",
        above=0,
        most=1000,
    )
    poisson: float = number(
        "Poisson's ratio of the laminate; the default is from memory",
        "",
        default=0.14,
        least=0,
        below=0.5,
    )

    @check
    def _copper_below_thickness(self) -> Iterator[Mistake]:
        if self.copper >= self.thickness:
            words = f"must be below the thickness of {self.thickness:g} mm; got {self.copper:g}"
            yield wrong(("copper",), words)

    @check
    def _room_between_margins(self) -> Iterator[Mistake]:
        half = min(self.size) / 2
        if self.margin >= half:
            words = f"must leave room between both edges, so be below {half:g} mm (mm, not inches)"
            yield wrong(("margin",), f"{words}; got {self.margin:g}")

    @check
    def _offcut_fills_its_size(self) -> Iterator[Mistake]:
        if self.outline is None:
            return
        shape = shapely.Polygon(self.outline)
        if not shape.is_valid or shape.area <= 0:
            yield wrong(("outline",), "must go round an area without crossing itself")
            return
        box = [round(value, 4) for value in shape.bounds]
        if box != [0.0, 0.0, round(self.size[0], 4), round(self.size[1], 4)]:
            words = f"must just fit the size, from [0, 0] to {plain(self.size)}; it spans "
            yield wrong(("outline",), words + plain(box))


@dataclass(frozen=True, slots=True, kw_only=True, config=TABLE)
class JobPlan(JobTable):
    """A job: from drawings of single-sided boards to cut files.

    Tables are read in this order, so that each may take defaults from those before it.

    Attributes:
        file: the job file, as given.
        sided: places of the boards whose `drawn_from` the bench file gives.
    """

    file: File = Field()
    sided: tuple[int, ...] = Field(default=())
    name: Name = entry(
        "What the reports call the job",
        NAME_ALLOWED,
        otherwise=lambda job, _: job.file.stem,
        words="the job file's name",
    )
    bench: FilePath | None = entry(
        "The bench file, which gives what the job does not state",
        "the path of a TOML file",
        default=None,
        words="for a job without [machine], bench.toml next to it or in the configuration folder",
    )
    engrave_names: bool = flag(
        "Engrave the name and number of every copy next to it, and the set's id, where there is "
        "room outside the boards; a name of ten letters takes about half a minute",
        default=False,
    )
    machine: Machine = entry("The mill", "a table headed [machine]")
    cutters: Annotated[tuple[Vee | EndMill | Drill, ...], Field(min_length=1)] = entry(
        "The cutters, one [cutters.NAME] each", "tables headed [cutters.NAME]"
    )
    isolation: IsolationPlan = entry(
        "How copper pieces are isolated from each other", "a table headed [isolation]"
    )
    clearing: ClearingPlan | None = entry(
        "How floating copper is cleared",
        "a table headed [clearing]",
        default=None,
        words="none is",
    )
    drilling: DrillingPlan = entry("How holes are made", "a table headed [drilling]")
    profile: ProfilePlan = entry("How boards are cut out", "a table headed [profile]")
    blanks: Annotated[tuple[BlankPlan, ...], Field(min_length=1)] = entry(
        "The laminate", "a table headed [blank], or several headed [[blank]]", key="blank"
    )
    setup: SetupTable = entry("How the blank lies and what holds it", "a table headed [setup]")
    boards: Annotated[tuple[BoardPlan, ...], Field(min_length=1)] = entry(
        "The boards, one [[board]] each", "tables headed [[board]]", key="board"
    )
    layout: LayoutTable = entry(
        "Where boards lie, when that is stored",
        "a table headed [layout]",
        default=LayoutTable(),
        words="places are chosen for you",
    )
    registration: RegistrationPlan = entry(
        "How a blank is located again after it was moved",
        "a table headed [registration]",
        words="the defaults of its keys",
    )
    legend: LegendPlan = entry(
        "How a legend is engraved into the component side; `layers.legend` names its lines",
        "a table headed [legend]",
        words="the defaults of its keys",
    )
    rules: RulesPlan = entry(
        "Which rules of spacing, current and holes apply",
        "a table headed [rules]",
        default=RulesPlan(),
        words="the defaults of its keys",
    )

    @check
    def _names_once(self) -> Iterator[Mistake]:
        # Some file systems do not distinguish capitals from small letters.
        yield from twice(
            (("board", i, "name"), known(board, "name")) for i, board in enumerate(self.boards)
        )

    @check
    def _cutter_names_once(self) -> Iterator[Mistake]:
        yield from twice((("cutters", cutter.name), cutter.name) for cutter in self.cutters)

    @check
    def _cutters_within_machine(self) -> Iterator[Mistake]:
        for cutter in self.cutters:
            for key in ("feed", "plunge", "spindle"):
                yield from settled(self._within_machine(cutter, key))

    def _within_machine(self, cutter: Cutter, key: str) -> Iterator[Mistake]:
        value, most = getattr(cutter, key), getattr(self.machine, f"max_{key}")
        if value > most:
            words = f"must be at most max_{key} of the machine, {most:g}; got {value:g}"
            yield wrong(("cutters", cutter.name, key), words)

    @check
    def _places_within_travel(self) -> Iterator[Mistake]:
        t, margin = self.machine.travel, self.machine.travel_margin
        low, high = (t.x0 + margin, t.y0 + margin), (t.x1 - margin, t.y1 - margin)
        reach, (x, y), touch = self.machine.reachable_words, self.setup.origin, self.setup.touch
        if x >= high[0] or y >= high[1]:
            words = f"must lie below the end of {reach}, {plain(high)}; got {plain((x, y))}"
            yield wrong(("setup", "origin"), words)
        if touch is not None and not t.contains(*touch, slack=-margin):
            words = f"must lie within {reach}: {plain(low)} to {plain(high)}; got {plain(touch)}"
            yield wrong(("setup", "touch"), words)

    @check
    def _profile_fits_between_boards(self) -> Iterator[Mistake]:
        for i, blank in enumerate(self.blanks):
            yield from settled(self._spacing_fits(i, blank))

    def _spacing_fits(self, i: int, blank: BlankPlan) -> Iterator[Mistake]:
        size = self.profile.cutter.diameter
        if blank.spacing < size:
            words = f"must let the profile cutter of {size:g} mm pass; got {blank.spacing:g}"
            yield wrong(("blank", i, "spacing"), words)
        elif blank.shared_kerf and blank.spacing > size:
            words = f"must be left out, or be the profile cutter's {size:g} mm, with shared_kerf = "
            yield wrong(("blank", i, "spacing"), f"{words}true; got {blank.spacing:g}")

    @check
    def _something_to_clear(self) -> Iterator[Mistake]:
        clearing = self.clearing
        if clearing is not None and clearing.copper == "all" and self.isolation.course == "middle":
            words = 'must be "areas" with isolation course = "middle", which keeps all copper'
            yield wrong(("clearing", "copper"), words)

    @check
    def _profile_within_spoilboard(self) -> Iterator[Mistake]:
        floor, deepest = self.drilling.spoilboard, self.profile.breakthrough
        if deepest >= floor:
            words = f"must end within the spoilboard of {floor:g} mm; got {deepest:g}"
            yield wrong(("profile", "breakthrough"), words)

    @check
    def _pins_within_spoilboard(self) -> Iterator[Mistake]:
        floor, depth = self.drilling.spoilboard, self.registration.pin_depth
        if depth > floor:
            words = f"must be at most the spoilboard of {floor:g} mm; got {depth:g}"
            yield wrong(("registration", "pin_depth"), words)

    @check
    def _tabs_below_laminate(self) -> Iterator[Mistake]:
        given = [known(blank, "thickness") for blank in self.blanks]
        thinnest = min((thickness for thickness in given if thickness is not None), default=None)
        height = self.profile.tab_height
        if thinnest is not None and height >= thinnest:
            words = f"must be below the laminate's thickness of {thinnest:g} mm; got {height:g}"
            yield wrong(("profile", "tab_height"), words)

    @check
    def _tip_touches_the_rim(self) -> Iterator[Mistake]:
        if self.registration.probe == "none":
            return
        depth = self.registration.probe_depth
        for blank in self.blanks:
            if not blank.copper < depth < blank.thickness:
                words = f"must lie between the copper's {blank.copper:g} mm and the laminate's "
                words += f"{blank.thickness:g} mm; got {depth:g}"
                yield wrong(("registration", "probe_depth"), words)
                return

    @check
    def _stops_need_comments(self) -> Iterator[Mistake]:
        if self.machine.dialect.comments == "none" and self.registration.probe != "none":
            words = 'must not be "none" where holes are touched: a comment says what to write down'
            yield wrong(("machine", "dialect", "comments"), words)
