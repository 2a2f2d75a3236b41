"""Findings for people: on which blank each is and where, and what its code means."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.resources import files

from millprep.geometry.path import Point
from millprep.geometry.pose import Pose
from millprep.model.finding import Finding
from millprep.model.set_of_programs import CutSet
from millprep.report.words import place, plain

_FRAME_WORDS = {"drawing": "in the drawing", "blank": "on the blank", "machine": "on the machine"}


@dataclass(frozen=True, slots=True)
class Marked:
    """A finding, its short name ("F3": third of the set's list) and its place on a blank.

    Attributes:
        places: further places of the same finding, blank frame.
    """

    name: str
    finding: Finding
    blank: int
    at: Point
    places: tuple[Point, ...] = ()


def name_of(index: int) -> str:
    """The short name that pictures and sheet call a finding by."""
    return f"F{index + 1}"


def marked(cut_set: CutSet) -> tuple[Marked, ...]:
    """Every finding whose place on a blank is known, `stop` first, otherwise in order."""
    marks = []
    for index, finding in enumerate(cut_set.findings):
        ground = _ground(cut_set, finding)
        if ground is not None and finding.at is not None:
            blank, pose = ground
            at, *places = (pose.point(place) for place in (finding.at, *finding.places))
            marks.append(Marked(name_of(index), finding, blank, at, tuple(places)))
    return tuple(sorted(marks, key=lambda mark: mark.finding.rank))


def _ground(cut_set: CutSet, finding: Finding) -> tuple[int, Pose] | None:
    """Blank number, and the pose that takes the finding's places there; None when not known."""
    if finding.at is None:
        return None
    if finding.frame == "drawing":
        for placement in (copy.placement for copy in cut_set.copies):
            if finding.board in (None, placement.board.name) and finding.copy in (
                None,
                placement.copy,
            ):
                return placement.blank, placement.pose
        return None
    blanks = {blank.number: blank for blank in cut_set.blanks}
    number = min(blanks, default=None) if finding.blank is None else finding.blank
    if number is None or number not in blanks:
        return None
    if finding.frame == "blank":
        return number, Pose()
    for milling_pass in blanks[number].passes:
        if finding.mill_pass in (None, milling_pass.number):
            return number, milling_pass.pose.inverse()
    return None


def where_words(finding: Finding) -> str:
    """The place of a finding in words; empty when it has none."""
    parts = []
    if finding.board is not None:
        copy = "" if finding.copy is None else f", copy {finding.copy}"
        parts.append(f"board {plain(finding.board, 60)}{copy}")
    if finding.blank is not None:
        parts.append(f"blank {finding.blank}")
    if finding.mill_pass is not None:
        parts.append(f"pass {finding.mill_pass}")
    if finding.at is not None:
        parts.append(f"{place(finding.at)} {_FRAME_WORDS[finding.frame or 'drawing']}")
    if finding.file is not None:
        line = "" if finding.line is None else f", line {finding.line}"
        parts.append(f"{plain(finding.file, 120)}{line}")
    return "; ".join(parts)


@dataclass(frozen=True, slots=True)
class Explanation:
    """One code in words.

    Attributes:
        means: what is wrong.
        matters: what comes of it.
        do: the remedy.
        source: of the rule.
        was: the name that the code had in earlier versions, None if it always had this one.
        guide: the page of the guide that says more, None where none does.
    """

    code: str
    means: str
    matters: str
    do: str
    source: str
    was: str | None = None
    guide: str | None = None


def explanations() -> dict[str, Explanation]:
    """Every code there is, in alphabetical order."""
    text = files("millprep.report").joinpath("codes.toml").read_text(encoding="utf-8")
    loaded = tomllib.loads(text)
    return {code: Explanation(code=code, **loaded[code]) for code in sorted(loaded)}


def renamed() -> dict[str, str]:
    """The present name of every code that was renamed, by its old name."""
    return {known.was: code for code, known in explanations().items() if known.was is not None}
