"""Changes: what the DXF library did to a damaged drawing, each with a name to accept it by.

Three witnesses: the library's own audit, the entities that the bare tags show and the
recovered drawing does not, and the damage that the bare tags show in single entities.
"""

from __future__ import annotations

import difflib
import re
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

from millprep.drawing.entities import layer_of
from millprep.drawing.ledger import Ledger
from millprep.drawing.raw import MODEL, NOWHERE, PAPER, Raw, RawEntity
from millprep.values.plan import LayerRoles

SAME_KIND = {"MLEADER": "MULTILEADER"}
LAYER_UNREAD = frozenset({"ACAD_TABLE"})
"""Kinds whose layer the library does not tell; they are annotations."""
MERE_ORDER = frozenset(
    {"MISPLACED_ROOT_DICT", "ROOT_DICT_NOT_FOUND", "CREATED_MISSING_OBJECT"}
    | {"MISSING_REQUIRED_ROOT_DICT_ENTRY", "INVALID_TABLE_HANDLE", "REMOVED_UNSUPPORTED_TABLE"}
    | {"MISSING_PERSISTENT_REACTOR", "REMOVE_EMPTY_GROUP", "REMOVED_UNSUPPORTED_SECTION"}
    | {"ACTIVE_PAPERSPACE_LAYOUT_NOT_FOUND", "INVALID_DICTIONARY_ENTRY", "INVALID_GROUP_ENTITIES"}
    | {"ORPHANED_PAPER_SPACE_BLOCK_RECORD_ENTITY", "GROUP_ENTITIES_IN_DIFFERENT_LAYOUTS"}
    | {"UNDEFINED_TEXT_STYLE", "UNDEFINED_DIMENSION_STYLE", "INVALID_DIMSTYLE"}
    | {"INVALID_LINEWEIGHT", "INVALID_TRANSPARENCY", "RESET_MLINE_STYLE"}
)
"""Repairs of the file's bookkeeping and of looks that no reading asks for: no shape changes."""

KEPT = {
    "broken-number": "the number is what could be read of it",
    "scattered": "its coordinates are put together by their group codes",
}
"""Damage with which an entity is kept, and what is done about it."""

PARTS = ", parts"

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
        """The name without what it is about; accepting this accepts all of them."""
        return self.name.split(" ", 1)[0]

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
        return f"{self.words}; {self.then}" if self.then else self.words


def lost(raw: Raw, doc: Any) -> list[Change]:
    """Entities that are in the file or in the opened drawing, but not in both."""
    decode = decoder(doc)
    before: dict[tuple[str, str], Counter[str]] = {}
    for one in raw.entities:
        kind = _kind(one.kind)
        layer = "" if kind in LAYER_UNREAD else decode(one.layer)
        count = before.setdefault((kind, layer), Counter())
        count[one.place] += 1
        count[one.place + PARTS] += one.parts
    after: dict[tuple[str, str], Counter[str]] = {}
    for place, entity in _opened(doc):
        kind = _kind(entity.dxftype())
        layer = "" if kind in LAYER_UNREAD else layer_of(entity)
        count = after.setdefault((kind, layer), Counter())
        count[place] += 1
        count[place + PARTS] += _parts(entity)
    blocks = {one.place for one in raw.entities}
    out = []
    for kind, layer in sorted({*before, *after}):
        had, has = before.get((kind, layer), Counter()), after.get((kind, layer), Counter())
        for place in sorted({*had, *has}):
            if place == NOWHERE or place.startswith(NOWHERE):
                continue
            if place.startswith("block ") and place.partition(",")[0] not in blocks:
                continue  # arrow heads and the like, which the library adds to old drawings
            fewer = had[place] - has[place]
            if place.endswith(PARTS) and had[place[: -len(PARTS)]] != has[place[: -len(PARTS)]]:
                continue  # the whole is told of already
            if fewer:
                word, n = ("missing", fewer) if fewer > 0 else ("added", -fewer)
                out.append(_lost(word, kind, layer, place, n))
        if had[NOWHERE]:
            out.append(_lost("missing", kind, layer, "no section", had[NOWHERE]))
    return out


def _lost(word: str, kind: str, layer: str, place: str, n: int) -> Change:
    if place.endswith(PARTS):
        kind, place = f"{kind} part", place[: -len(PARTS)]
    where = "" if place == MODEL else f" in {place}"
    # what an insert draws, and what is drawn on layer 0 of a block, can be on any layer
    known = kind != "INSERT" and (layer != "0" or place.startswith(MODEL))
    return Change(
        f"{word}-{kind.lower().replace('_', '-').replace(' ', '-')} {layer}{where}",
        f"{word} {kind} on layer {layer!r}{where}: {n}",
        layer if known else None,
        shapes=not place.startswith(PAPER),
    )


def damaged(raw: Raw, doc: Any) -> list[Change]:
    """Entities that are not whole or hold what is no number, and damage outside of entities."""
    decode = decoder(doc)
    out = []
    for one in raw.entities:
        if not one.damage:
            continue
        layer = decode(one.layer)
        known = one.kind != "INSERT" and (layer != "0" or not one.place.startswith("block "))
        keeps = one.damage in KEPT
        then = KEPT.get(one.damage, "it is left out")
        handle = one.handle or f"line-{one.line}"
        name = one.damage if keeps else f"{one.damage}-{one.kind.lower()}"
        out.append(
            Change(
                f"{name} {handle}",
                f"{one.kind} {handle} in {one.place}, line {one.line}: {one.words}",
                layer if known else None,
                shapes=one.place not in (PAPER, NOWHERE),
                then=then,
                drop=None if keeps else one,
            )
        )
    out += [Change(name, words, None) for name, words in raw.loose]
    return out


def audited(auditor: Any, raw: Raw, doc: Any) -> list[Change]:
    """What the library says that it changed or could not mend."""
    from ezdxf.audit import AuditError

    names = {value: name for name, value in vars(AuditError).items() if isinstance(value, int)}
    decode = decoder(doc)
    layers: dict[str, set[str]] = {}
    for one in raw.entities:
        layers.setdefault(one.handle, set()).add(decode(one.layer))
    numbers = sum(one.damage == "broken-number" for one in raw.entities)
    numbers += sum(name == "broken-number" for name, _ in raw.loose)
    out = []
    for done, entries in (("mended", auditor.fixes), ("not mended", auditor.errors)):
        for entry in entries:
            name = names.get(int(entry.code), f"change-{int(entry.code)}")
            # our own scan names these with the entity; the library has only a line
            if name in ("INVALID_INTEGER_VALUE", "INVALID_FLOATING_POINT_VALUE") and numbers:
                continue
            handle, layer, shapes = _place(entry, layers)
            shapes = shapes and name not in MERE_ORDER
            words = (str(entry.message).strip().splitlines() or [""])[0][:200]
            label = name.lower().replace("_", "-") + (f" {handle}" if handle else "")
            out.append(Change(label, f"{words} ({done})", layer, shapes))
    return out


def _place(entry: Any, layers: dict[str, set[str]]) -> tuple[str, str | None, bool]:
    """Handle and layer of what an audit entry is about, and whether it may hold shapes."""
    from ezdxf.entities.blockrecord import BlockRecord
    from ezdxf.entities.dxfgfx import DXFGraphic
    from ezdxf.entities.dxfobj import DXFObject
    from ezdxf.entities.layer import Layer
    from ezdxf.entities.table import TableHead

    entity = entry.entity
    handle = ""
    if entity is not None and entity.is_alive:
        handle = str(entity.dxf.get("handle") or "")
        if isinstance(entity, Layer):
            return handle, str(entity.dxf.name), True
        graphic = isinstance(entity, DXFGraphic)
        if not graphic and not isinstance(entity, BlockRecord):
            tables = ("LTYPE", "STYLE", "DIMSTYLE", "APPID", "VIEW", "UCS", "VPORT")
            if isinstance(entity, DXFObject | TableHead) or entity.dxftype() in tables:
                return handle, None, False
    else:
        found = re.search(r"\(#([0-9A-Fa-f]+)\)", str(entry.message))
        if found:
            handle = found[1].upper()
    known = layers.get(handle.upper(), set())
    layer = next(iter(known)) if len(known) == 1 else None
    return handle, None if layer == "0" else layer, True


def drop(doc: Any, raw: Raw, drops: list[RawEntity]) -> list[RawEntity]:
    """Take entities out of the opened drawing; gives those that cannot be told from others."""
    handles = Counter(one.handle for one in raw.entities)
    found: list[tuple[Any, Any]] = []
    unsure: list[RawEntity] = []
    for place in sorted({one.place for one in drops}):
        block = place.removeprefix("block ")
        space = doc.modelspace() if place == MODEL else doc.blocks.get(block)
        held = [] if space is None else list(space)
        by_handle = {str(e.dxf.get("handle") or "").upper(): e for e in held}
        kinds = [one.kind for one in raw.entities if one.place == place]
        in_order = [e.dxftype() for e in held] == kinds
        for one in (one for one in drops if one.place == place):
            entity = by_handle.get(one.handle) if handles[one.handle] == 1 else None
            if entity is None and in_order:
                entity = held[one.number]
            if entity is not None and entity.dxftype() == one.kind:
                found.append((space, entity))
            else:
                unsure.append(one)
    for space, entity in found:
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
        elif key(change.name) in agreed or change.family in agreed:
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
            ledger.stop(
                "repair-not-accepted",
                f"mending the file makes {len(names)} changes of the kind {family!r} to what may "
                f"be read, among them {shown}",
                f"look at them; if all are right, accept {family!r} in the job, or mend the "
                "drawing",
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


def decoder(doc: Any) -> Callable[[bytes], str]:
    """How layer names of this drawing are decoded."""
    from ezdxf.lldxf.encoding import decode_dxf_unicode, has_dxf_unicode

    modern = str(getattr(doc, "_loaded_dxfversion", None) or doc.dxfversion) >= "AC1021"
    encoding = "utf-8" if modern else str(doc.encoding)

    def decode(name: bytes) -> str:
        words = name.decode(encoding, errors="surrogateescape")
        return decode_dxf_unicode(words) if has_dxf_unicode(words) else words

    return decode


def _kind(kind: str) -> str:
    return SAME_KIND.get(kind, kind)


def _parts(entity: Any) -> int:
    if entity.dxftype() == "POLYLINE":
        return len(entity.vertices)
    return len(entity.attribs) if entity.dxftype() == "INSERT" else 0


def _opened(doc: Any) -> Iterator[tuple[str, Any]]:
    """(place, entity) of everything in the opened drawing."""
    model, paper = doc.modelspace(), doc.paperspace()
    for entity in model:
        yield MODEL, entity
    for entity in paper:
        yield PAPER, entity
    for block in doc.blocks:
        if block.layout_key not in (model.layout_key, paper.layout_key):
            name = str(block.name).casefold()
            for entity in block:
                yield f"block {name}", entity
