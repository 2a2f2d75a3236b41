"""Touching holes and surfaces: which cutter is the tip, and what must hold between the keys."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from millprep.job.fields import plain
from millprep.job.mistakes import Mistake, wrong
from millprep.job.places import KeyPath
from millprep.job.work import RegistrationTable
from millprep.model.cutter import Cutter, EndMill
from millprep.model.plan import ProbePlan

PLAY = 0.4
"""Left around the tip in a locating hole, at least, when the tool chooses it, mm: a blank put
back by eye lies this near; common practice, no source."""
LEAST_PLAY = 0.2
"""The least that a named tip may leave, mm."""

Filled = Mapping[str, Any]


def check_probe(
    registration: Filled, cutters: Mapping[str, Filled], blanks: Sequence[Filled]
) -> Iterator[Mistake]:
    """Yield every contradiction about touching, from the keys that came through."""
    if registration["probe"] != "electrical":
        return
    if registration["method"] == "pins":
        yield wrong(
            ("registration", "probe"),
            'needs method = "measure": holes on pins cannot be touched from within',
        )
    hole, named = registration["hole"], registration["probe_cutter"]
    mills = {
        name: table["diameter"]
        for name, table in cutters.items()
        if table.get("kind") == "endmill" and table.get("diameter") is not None
    }
    if hole is not None and named in mills and mills[named] > hole - 2 * LEAST_PLAY:
        yield wrong(
            ("registration", "probe_cutter"),
            f"must be at most {hole - 2 * LEAST_PLAY:.2f} mm wide to go into holes of {hole:g} mm; "
            f"{plain(named)} is {mills[named]:g} mm",
        )
    if hole is not None and named is None and not _widest(mills, hole):
        yield wrong(
            ("registration", "probe"),
            f"finds no end mill up to {hole - 2 * PLAY:.2f} mm to touch holes of {hole:g} mm with; "
            "define a pin as an end mill and name it in probe_cutter",
        )
    depth = registration["probe_depth"]
    for blank in blanks if depth is not None else ():
        thick, copper = blank.get("thickness"), blank.get("copper")
        if thick is not None and copper is not None and not copper < depth < thick:
            yield wrong(
                ("registration", "probe_depth"),
                f"must lie between the copper's {copper:g} mm and the laminate's {thick:g} mm; "
                f"got {depth:g}",
            )
            return


def check_log(path: KeyPath, pattern: str) -> Iterator[Mistake]:
    """Yield what is wrong with the pattern of a machine's log."""
    try:
        groups = set(re.compile(pattern).groupindex)
    except re.error as fault:
        yield wrong(path, f"is no regular expression: {fault}; got {plain(pattern)}")
        return
    missing = [name for name in "xyz" if name not in groups]
    if missing:
        words = ", ".join(f"(?P<{name}>…)" for name in missing)
        yield wrong(path, f"must pick x, y and z; groups it lacks: {words}")


def probe_of(table: RegistrationTable, cutters: Mapping[str, Cutter]) -> ProbePlan | None:
    """How holes are touched, of a table whose checks have passed; None when they are not."""
    if table.probe == "none":
        return None
    mills = {name: c for name, c in cutters.items() if isinstance(c, EndMill)}
    name = table.probe_cutter
    if name is None:
        name = _widest({name: mill.diameter for name, mill in mills.items()}, table.hole)
        assert name is not None
    return ProbePlan(mills[name], table.probe_depth, table.probe_feed, table.probe_error)


def _widest(mills: Mapping[str, float], hole: float) -> str | None:
    """The widest end mill that leaves `PLAY` around it; the first by name of equal ones."""
    fit = [(-size, name) for name, size in mills.items() if size <= hole - 2 * PLAY + 1e-9]
    return min(fit)[1] if fit else None
