"""Witnesses: what was changed or lost when a drawing was opened.

Three of them: the library's own audit, the entities that the bare tags show and the opened
drawing does not, and the damage that the bare tags show in single entities.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Iterator
from typing import Any

from millprep.drawing.dxf.changes import KEPT, Change
from millprep.drawing.dxf.entities import layer_of
from millprep.drawing.dxf.raw import MODEL, NOWHERE, PAPER, Raw

SAME_KIND = {"MLEADER": "MULTILEADER"}
LAYER_UNREAD = frozenset({"ACAD_TABLE"})
"""Kinds whose layer the library does not give; they are annotations."""
ORDER_ONLY = frozenset(
    {"MISPLACED_ROOT_DICT", "ROOT_DICT_NOT_FOUND", "CREATED_MISSING_OBJECT"}
    | {"MISSING_REQUIRED_ROOT_DICT_ENTRY", "INVALID_TABLE_HANDLE", "REMOVED_UNSUPPORTED_TABLE"}
    | {"MISSING_PERSISTENT_REACTOR", "REMOVE_EMPTY_GROUP", "REMOVED_UNSUPPORTED_SECTION"}
    | {"ACTIVE_PAPERSPACE_LAYOUT_NOT_FOUND", "INVALID_DICTIONARY_ENTRY", "INVALID_GROUP_ENTITIES"}
    | {"ORPHANED_PAPER_SPACE_BLOCK_RECORD_ENTITY", "GROUP_ENTITIES_IN_DIFFERENT_LAYOUTS"}
    | {"UNDEFINED_TEXT_STYLE", "UNDEFINED_DIMENSION_STYLE", "INVALID_DIMSTYLE"}
    | {"INVALID_LINEWEIGHT", "INVALID_TRANSPARENCY", "RESET_MLINE_STYLE"}
)
"""Repairs of the file's bookkeeping and of looks that no reading asks for: no shape changes."""

PARTS = ", parts"


def lost(raw: Raw, doc: Any) -> list[Change]:
    """Entities that are in the file or in the opened drawing, but not in both."""
    decode = decoder(doc)
    before: dict[tuple[str, str], Counter[str]] = {}
    for shown in raw.entities:
        kind = _kind(shown.kind)
        layer = "" if kind in LAYER_UNREAD else decode(shown.layer)
        count = before.setdefault((kind, layer), Counter())
        count[shown.place] += 1
        count[shown.place + PARTS] += shown.parts
    after: dict[tuple[str, str], Counter[str]] = {}
    for place, entity in _opened(doc):
        kind = _kind(entity.dxftype())
        layer = "" if kind in LAYER_UNREAD else layer_of(entity)
        count = after.setdefault((kind, layer), Counter())
        count[place] += 1
        count[place + PARTS] += _parts(entity)
    blocks = {shown.place for shown in raw.entities}
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
                continue  # the whole is reported already
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
    for entity in raw.entities:
        if not entity.damage:
            continue
        layer = decode(entity.layer)
        known = entity.kind != "INSERT" and (layer != "0" or not entity.place.startswith("block "))
        keeps = entity.damage in KEPT
        then = KEPT.get(entity.damage, "it is left out")
        handle = entity.handle or f"line-{entity.line}"
        name = entity.damage if keeps else f"{entity.damage}-{entity.kind.lower()}"
        out.append(
            Change(
                f"{name} {handle}",
                f"{entity.kind} {handle} in {entity.place}, line {entity.line}: {entity.words}",
                layer if known else None,
                shapes=entity.place not in (PAPER, NOWHERE),
                then=then,
                drop=None if keeps else entity,
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
    for entity in raw.entities:
        layers.setdefault(entity.handle, set()).add(decode(entity.layer))
    numbers = sum(entity.damage == "broken-number" for entity in raw.entities)
    numbers += sum(name == "broken-number" for name, _ in raw.loose)
    out = []
    for done, entries in (("mended", auditor.fixes), ("not mended", auditor.errors)):
        for entry in entries:
            name = names.get(int(entry.code), f"change-{int(entry.code)}")
            # our own scan names these with the entity; the library has only a line
            if name in ("INVALID_INTEGER_VALUE", "INVALID_FLOATING_POINT_VALUE") and numbers:
                continue
            handle, layer, shapes = _place(entry, layers)
            shapes = shapes and name not in ORDER_ONLY
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
        match = re.search(r"\(#([0-9A-Fa-f]+)\)", str(entry.message))
        if match:
            handle = match[1].upper()
    known = layers.get(handle.upper(), set())
    layer = next(iter(known)) if len(known) == 1 else None
    return handle, None if layer == "0" else layer, True


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
