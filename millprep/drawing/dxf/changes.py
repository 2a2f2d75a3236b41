"""Changes: what mending did to a damaged drawing, each with a name to accept it by."""

from __future__ import annotations

import difflib
from collections import Counter
from dataclasses import dataclass
from typing import Any

from millprep.drawing.dxf.raw import MODEL, Raw, RawEntity
from millprep.drawing.ledger import Ledger
from millprep.model.finding import many
from millprep.model.job.layers import LayerRoles

KEPT = {
    "broken-number": "the number is what could be read of it",
    "scattered": "its coordinates are put together by their group codes",
}
"""Damage with which an entity is kept, and what is done about it."""

GONE = "the copper, edge or hole that it draws disappears"
"""What removing a shape does."""

MOST_NAMED = 40
"""Names to accept that are listed, of changes that each need their own."""

FEW = 3
"""Changes of one family that are spelt out one by one."""


@dataclass(frozen=True, slots=True)
class Change:
    """One change.

    Attributes:
        name: to accept it by; stable for one file.
        words: what was done to what.
        layer: of what is changed, None where that is not known.
        shapes: whether it can touch shapes at all.
        then: what is done about it.
        drop: the entity that is left out once the change is accepted.
    """

    name: str
    words: str
    layer: str | None
    shapes: bool = True
    then: str = ""
    drop: RawEntity | None = None

    @property
    def family(self) -> str:
        """The name without what it is about; accepting this accepts all that remove no shape."""
        return self.name.split(" ", 1)[0]

    @property
    def removes(self) -> bool:
        """Whether shapes of the file are gone after it."""
        return self.drop is not None or (self.is_loss and self.family.startswith("missing-"))

    @property
    def is_loss(self) -> bool:
        """Whether the opened drawing holds other entities than the file."""
        return self.family.startswith(("missing-", "added-")) and " " in self.name

    def __str__(self) -> str:
        place = f" on layer {self.layer!r}" if self.layer is not None else ""
        return f"{self.name!r}{place}: {self.done}"

    @property
    def done(self) -> str:
        """What is wrong and what is done about it."""
        parts = [self.words, self.then, GONE if self.removes else ""]
        return "; ".join(part for part in parts if part)


def drop(doc: Any, raw: Raw, drops: list[RawEntity]) -> list[RawEntity]:
    """Take entities out of the opened drawing; returns those that look like others."""
    handles = Counter(entry.handle for entry in raw.entities)
    dropped: list[tuple[Any, Any]] = []
    unsure: list[RawEntity] = []
    for place in sorted({entry.place for entry in drops}):
        block = place.removeprefix("block ")
        space = doc.modelspace() if place == MODEL else doc.blocks.get(block)
        held = [] if space is None else list(space)
        by_handle = {str(e.dxf.get("handle") or "").upper(): e for e in held}
        kinds = [entry.kind for entry in raw.entities if entry.place == place]
        in_order = [e.dxftype() for e in held] == kinds
        for entry in (entry for entry in drops if entry.place == place):
            entity = by_handle.get(entry.handle) if handles[entry.handle] == 1 else None
            if entity is None and in_order:
                entity = held[entry.number]
            if entity is not None and entity.dxftype() == entry.kind:
                dropped.append((space, entity))
            else:
                unsure.append(entry)
    for space, entity in dropped:
        space.unlink_entity(entity)
    return unsure


def in_use(roles: LayerRoles) -> frozenset[str] | None:
    """Folded names of the layers that a job reads; None when it may read any."""
    named = {name.casefold() for name in (*roles.copper, *roles.outline, *roles.holes)}
    used = set(named)
    for selection in roles.selections:
        if selection.name.casefold() in named:
            if selection.layer is None:
                return None
            used.add(selection.layer.casefold())
    return frozenset(used)


def touches(change: Change, used: frozenset[str] | None) -> bool:
    """Whether a change may touch what a job reads."""
    if not change.shapes:
        return False
    return change.layer is None or used is None or change.layer.casefold() in used


def key(name: str) -> str:
    """Names are the same whatever their case and blanks."""
    return " ".join(name.split()).casefold()


def settle(
    changes: tuple[Change, ...],
    used: frozenset[str] | None,
    accepted: tuple[str, ...],
    ledger: Ledger,
) -> list[RawEntity]:
    """Refuse changes that touch what is read and are not accepted; list all others.

    Returns the entities that are to be left out.
    """
    agreed = {key(name) for name in accepted}
    refused: dict[str, list[Change]] = {}
    leave: list[RawEntity] = []
    listed: dict[tuple[str, bool], list[Change]] = {}
    for change in changes:
        if not touches(change, used):
            listed.setdefault((change.name, False), []).append(change)
        elif key(change.name) in agreed or (change.family in agreed and not change.removes):
            listed.setdefault((change.name, True), []).append(change)
        else:
            refused.setdefault(change.family, []).append(change)
            continue
        if change.drop is not None:
            leave.append(change.drop)
    for (_, yes), alike in listed.items():
        more = f", and {len(alike) - 1} more of this name" if len(alike) > 1 else ""
        ledger.repairs.append(f"{alike[0]}{more}{' (accepted)' if yes else ''}")
    for family, some in refused.items():
        names = list(dict.fromkeys(change.name for change in some))
        if len(names) > FEW:
            shown = "; ".join(f"{change.name!r}, {change.done}" for change in some[:FEW])
            remedy = f"look at them; if all are right, accept {family!r} in the job"
            if some[0].removes:
                each = ", ".join(map(repr, names[:MOST_NAMED]))
                more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
                remedy = (
                    "look at them; shapes are removed only if the job accepts each by its own "
                    f"name: {each}{more}"
                )
            ledger.stop(
                "repair-not-accepted",
                f"mending the file makes {many(len(names), 'change')} of the kind {family!r} to "
                f"what may be read, among them {shown}",
                f"{remedy}; or mend the drawing",
            )
            continue
        for name in names:
            first = next(change for change in some if change.name == name)
            others = sum(change.name == name for change in some) - 1
            again = f" (and {others} more of this name)" if others else ""
            ledger.stop(
                "repair-not-accepted",
                f"mending the file may change what is read: {first.done}{again}",
                f"look at it; if that is right, accept {name!r} in the job, or mend the drawing",
            )
    return leave


def check_accepted(accepted: tuple[str, ...], names: list[str], ledger: Ledger) -> None:
    """Accepted names that no change bears are faults."""
    known = {key(name): name for name in names}
    for name in accepted:
        if key(name) in known:
            continue
        near = difflib.get_close_matches(key(name), known, n=1, cutoff=0.4)
        hint = f"the nearest is {known[near[0]]!r}" if near else "the drawing was not changed"
        ledger.stop(
            "repair-name-unknown",
            f"the job accepts {name!r}, but no change to the drawing has that name",
            f"take it out of the job, or correct it: {hint}",
        )
