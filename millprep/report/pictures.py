"""Every picture of a set: which there are, what they are called, and drawing them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import TYPE_CHECKING, Any

from millprep.report.blank_views import as_cut_view, copper_view, paths_view
from millprep.report.canvas import Canvas, drawing_settings, save
from millprep.report.close_up import Spot, close_up, spots
from millprep.report.net_view import density_view, potential_view
from millprep.report.pass_view import pass_view
from millprep.report.picture_words import say
from millprep.report.places import Marked, marked
from millprep.report.relief_view import relief_view, widths_view
from millprep.report.scene import scene
from millprep.report.words import plain

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from millprep.model.cut import HoleCut, Lap, Profile
    from millprep.model.judged import NetJudged
    from millprep.model.set_of_programs import CutSet

FOLDER = "previews"
View = Callable[[], Canvas]
Beside = Callable[[Callable[[], Any]], Callable[[], Any]]
"""Takes work and gives back what waits for its result; at its simplest the work itself."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture on disk: `previews/STEM.png`, and .svg beside it when `svg`."""

    stem: str
    words: str
    svg: bool
    blank: int
    mill_pass: int | None = None
    findings: tuple[str, ...] = ()

    @property
    def png(self) -> str:
        """Its path relative to the set's folder."""
        return f"{FOLDER}/{self.stem}.png"


def gallery(cut_set: CutSet) -> tuple[Picture, ...]:
    """The pictures that `draw` makes of this set, in order."""
    found = []
    for blank in cut_set.layout.blanks:
        n = blank.number
        stem = f"blank-{n}"
        found.append(Picture(f"{stem}-copper", say("list.copper"), True, n))
        found.append(Picture(f"{stem}-components", say("list.components"), True, n))
        if any(c.placement in _indices(cut_set, n) for c in _cuts(cut_set)):
            found.append(Picture(f"{stem}-paths", say("list.paths"), True, n))
        if any(a.blank == n for a in cut_set.as_cut):
            found.append(Picture(f"{stem}-as-cut", say("list.as_cut"), True, n))
        for p in cut_set.passes:
            if p.blank == n:
                named = f"{stem}-pass-{p.number}"
                found.append(Picture(named, say("list.pass", nth=p.number), False, n, p.number))
                if p.levelling is not None:
                    words = say("list.relief", nth=p.number)
                    found.append(Picture(f"{named}-relief", words, False, n, p.number))
                if p.uncorrected:
                    words = say("list.widths", nth=p.number)
                    found.append(Picture(f"{named}-without-map", words, False, n, p.number))
    for n, blank_number, one in _solved(cut_set):
        name = plain(one.net.name, 40)
        found += [
            Picture(f"net-{n}-potential", say("list.potential", net=name), False, blank_number),
            Picture(f"net-{n}-current", say("list.current", net=name), False, blank_number),
        ]
    for i, spot in enumerate(_spots(cut_set), start=1):
        names = tuple(mark.name for mark in spot.marks)
        words = say("title.close_up", names=", ".join(names))
        found.append(Picture(f"close-up-{i}", words, False, spot.blank, findings=names))
    return tuple(found)


def draw(cut_set: CutSet, folder: Path, beside: Beside = lambda work: work) -> tuple[Picture, ...]:
    """Write every picture that the set has the values for into `folder`.

    Args:
        cut_set: the values.
        folder: made, if there is none.
        beside: may begin work that another core can do.

    Returns:
        what was drawn, as `gallery` lists it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    pictures = gallery(cut_set)
    views = list(zip(pictures, _views(cut_set), strict=True))

    def some(these: list[tuple[Picture, View]]) -> None:
        with drawing_settings():
            for picture, view in these:
                save(view(), folder / picture.stem, svg=picture.svg)

    other_half = beside(partial(some, views[1::2]))
    some(views[::2])
    other_half()
    return pictures


def draw_refused(cut_set: CutSet, folder: Path) -> tuple[Picture, ...]:
    """The pictures of a run that was refused: what was known by then, findings circled."""
    return draw(cut_set, folder)


def _views(cut_set: CutSet) -> Iterator[View]:
    """What draws the pictures of `gallery`, in the same order."""
    job, set_id = cut_set.job, cut_set.id
    places = marked(cut_set)
    scenes = {blank.number: scene(cut_set, blank) for blank in cut_set.layout.blanks}
    for here in scenes.values():
        flags = [place for place in places if place.blank == here.blank.number]
        yield partial(copper_view, here, job, set_id, flags)
        yield partial(copper_view, here, job, set_id, flags, components=True)
        if here.laps or here.holes or here.profiles:
            yield partial(paths_view, here, job, set_id)
        if here.as_cut is not None:
            faults = [flag for flag in flags if flag.finding.severity != "note"]
            yield partial(as_cut_view, here, job, set_id, faults)
        for milling_pass in here.passes:
            yield partial(pass_view, here, cut_set, milling_pass)
            level = milling_pass.levelling
            if level is not None:
                yield partial(relief_view, here, cut_set, milling_pass, level)
            told = list(milling_pass.uncorrected)
            if told:
                yield partial(widths_view, here, cut_set, milling_pass, told)
    for _, number, one in _solved(cut_set):
        yield partial(potential_view, scenes[number], job, set_id, one)
        yield partial(density_view, scenes[number], job, set_id, one)
    for spot in _spots(cut_set):
        yield partial(close_up, scenes[spot.blank], cut_set, spot)


def _solved(cut_set: CutSet) -> list[tuple[int, int, NetJudged]]:
    """Every net whose sheet was solved, counted from 1, with the number of its blank."""
    blank = {p.index: p.blank for p in cut_set.layout.placements}
    nets = [
        (blank[board.placement], one)
        for board in cut_set.judged
        for one in board.nets
        if one.field is not None
    ]
    return [(n, *pair) for n, pair in enumerate(nets, 1)]


def _spots(cut_set: CutSet) -> tuple[Spot, ...]:
    places: tuple[Marked, ...] = marked(cut_set)
    return spots(places)


def _indices(cut_set: CutSet, blank: int) -> set[int]:
    return {placement.index for placement in cut_set.layout.on(blank)}


def _cuts(cut_set: CutSet) -> tuple[Lap | HoleCut | Profile, ...]:
    return (*cut_set.laps, *cut_set.holes, *cut_set.profiles)
