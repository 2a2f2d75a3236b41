"""Every picture of a set: which there are, what they are called, and drawing them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from millprep.cache import cached, hashed_once
from millprep.model.judged import NetJudged
from millprep.model.milling_pass import MillingPass
from millprep.model.set_of_programs import CutSet
from millprep.report.blank_contents import (
    BlankContents,
    DrawnProgram,
    Marked,
    bare_set,
    contents_of,
    marked,
)
from millprep.report.blank_views import as_cut_view, copper_view, paths_view
from millprep.report.canvas import Canvas
from millprep.report.close_up import close_up, spots
from millprep.report.field_views import (
    density_view,
    lift_view,
    potential_view,
    relief_view,
    widths_view,
)
from millprep.report.pass_view import pass_view
from millprep.report.svg import rasterised, svg
from millprep.report.words import plain

FOLDER = "previews"
View = partial[Canvas]


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture on disk: `previews/STEM.png`, and .svg next to it when `svg`."""

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
    return tuple(picture for picture, _ in _pictures(cut_set))


def draw(cut_set: CutSet, folder: Path, which: slice = slice(None)) -> tuple[Picture, ...]:
    """Write the pictures that the set has the values for into `folder`.

    Args:
        cut_set: the values; of a refused run, what was known by then.
        folder: made, if there is none.
        which: of the pictures, in the order of `gallery`.

    Returns:
        what was drawn.
    """
    folder.mkdir(parents=True, exist_ok=True)
    chosen = list(_pictures(cut_set))[which]
    for picture, view in chosen:
        hashed_once(view.args[0])
        text, image = _drawn(view)
        stem = folder / picture.stem
        stem.with_suffix(".png").write_bytes(image)
        if picture.svg:
            stem.with_suffix(".svg").write_bytes(text.encode())
    return tuple(picture for picture, _ in chosen)


@cached
def _drawn(view: View) -> tuple[str, bytes]:
    """A picture as SVG and PNG."""
    on = view()
    text = svg(on.scene())
    return text, rasterised(text, on.size, on.pixels)


def _pictures(cut_set: CutSet) -> Iterator[tuple[Picture, View]]:
    """Every picture with what draws it."""
    places, job = marked(cut_set), cut_set.job
    machine = bare_set(cut_set)
    seen = {blank.number: contents_of(cut_set, blank) for blank in cut_set.blanks}
    for milled in cut_set.blanks:
        here = seen[milled.number]
        flags = [place for place in places if place.blank == milled.number]
        yield from _of_blank(job, here, flags)
        cut: tuple[DrawnProgram, ...] = ()
        for bare, milling_pass in zip(here.passes, milled.passes, strict=True):
            cut = (*cut, *map(DrawnProgram.of, milling_pass.programs))
            yield from _of_pass(machine, here, bare, cut)
    for n, blank, net in _solved(cut_set):
        name = plain(net.net.name, 40)
        given = (seen[blank], job, net)
        words = f"potential of net {name}"
        picture = Picture(f"net-{n}-potential", words, False, blank)
        yield picture, partial(potential_view, *given)
        words = f"current density of net {name}"
        picture = Picture(f"net-{n}-current", words, False, blank)
        yield picture, partial(density_view, *given)
    for n, spot in enumerate(spots(places), start=1):
        names = tuple(mark.name for mark in spot.marks)
        words = f"close-up of {', '.join(names)}"
        picture = Picture(f"close-up-{n}", words, False, spot.blank, findings=names)
        yield picture, partial(close_up, seen[spot.blank], machine, spot)


def _of_blank(job: str, here: BlankContents, flags: list[Marked]) -> Iterator[tuple[Picture, View]]:
    """A whole blank: its copper from both faces, its paths, what is left."""
    n, given = here.blank.number, (here, job)
    copper = partial(copper_view, *given, flags)
    yield Picture(f"blank-{n}-copper", "copper, as it lies on the mill", True, n), copper
    other = partial(copper_view, *given, flags, components=True)
    yield Picture(f"blank-{n}-components", "copper, seen from the components", True, n), other
    if here.laps or here.holes or here.profiles:
        paths = partial(paths_view, *given)
        yield Picture(f"blank-{n}-paths", "paths at their true width", True, n), paths
    if here.as_cut is not None:
        faults = [flag for flag in flags if flag.finding.severity != "note"]
        as_cut = partial(as_cut_view, *given, faults)
        yield Picture(f"blank-{n}-as-cut", "copper that is left", True, n), as_cut


def _of_pass(
    machine: CutSet, here: BlankContents, milling_pass: MillingPass, cut: tuple[DrawnProgram, ...]
) -> Iterator[tuple[Picture, View]]:
    """A pass, how far its blank lifts, and the surface map that it follows.

    `cut` are the programs of this pass and those before.
    """
    n, nth = here.blank.number, milling_pass.number
    stem, given = f"blank-{n}-pass-{nth}", (here, machine, milling_pass)
    view = partial(pass_view, *given, cut)
    yield Picture(stem, f"pass {nth}", False, n, nth), view
    holding = milling_pass.holding
    if holding is not None and len(holding.places):
        picture = Picture(f"{stem}-lift", f"how far the blank lifts in pass {nth}", False, n, nth)
        yield picture, partial(lift_view, *given, holding)
    levelling = milling_pass.levelling
    if levelling is not None:
        words = f"height of the copper in pass {nth}"
        picture = Picture(f"{stem}-relief", words, False, n, nth)
        yield picture, partial(relief_view, *given, levelling)
    grooves = list(milling_pass.uncorrected)
    if grooves:
        words = f"grooves of pass {nth} without its surface map"
        picture = Picture(f"{stem}-without-map", words, False, n, nth)
        yield picture, partial(widths_view, *given, grooves)


def _solved(cut_set: CutSet) -> list[tuple[int, int, NetJudged]]:
    """Every net whose sheet was solved, counted from 1, with the number of its blank."""
    nets = [
        (copy.placement.blank, net)
        for copy in cut_set.copies
        if copy.judged is not None
        for net in copy.judged.nets
        if net.field is not None
    ]
    return [(n, *pair) for n, pair in enumerate(nets, 1)]
