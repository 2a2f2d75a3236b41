"""The walk over a drawing's model space: every entity becomes marks, in mm.

Inserts are opened here, with every map they put on their content. Only geometry on the
layers needed is worked out.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import shapely

from millprep.drawing.dxf.hatch import LARGEST
from millprep.drawing.dxf.look import PLAIN, TEXT_KINDS, Look, look_of, said, text_of
from millprep.drawing.dxf.shapes import SHAPES
from millprep.drawing.marks.mark import Aside, Curve, Fill, Mark, Source, Stroke, Unread, Words
from millprep.drawing.marks.neighbours import TooMuchError
from millprep.geometry.path import FloatArray
from millprep.geometry.pose import Affine

MOST_DEEP = 24
"""Blocks within blocks beyond this depth are refused."""

MOST_MARKS = 100_000
"""Marks beyond this number are refused: inserts of inserts grow without bound."""

MOST_POINTS = 4_000_000
"""Vertices beyond this number are refused."""

ANNOTATION = frozenset(
    {"DIMENSION", "ARC_DIMENSION", "LARGE_RADIAL_DIMENSION", "LEADER", "MULTILEADER", "MLEADER"}
    | {"TOLERANCE", "ATTDEF", "VIEWPORT", "ACAD_TABLE"}
)
TRUE_KINDS = frozenset(
    {"LINE", "ARC", "CIRCLE", "ELLIPSE", "SPLINE", "LWPOLYLINE", "POLYLINE", "HATCH", "SOLID"}
    | {"TRACE", "INSERT", "TEXT", "MTEXT", "ATTRIB"}
)

BOUNDS_A_FILL = "it only bounds a filled area, which is read by its own boundary"
MEANING = {
    "REGION": "an area in the form of a solid modeller",
    "3DSOLID": "a solid body",
    "BODY": "a solid body",
    "MESH": "a surface in space",
    "3DFACE": "a face in space",
    "IMAGE": "a picture",
}
"""What a kind is, for those who never drew one knowingly."""


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the walk is: the map to mm, and the insert it is inside of.

    Attributes:
        rows: (4, 3) map of 3-D points, p' = (x, y, z, 1) · rows, z in mm too.
        look: of the insert, for content that is shown "by block".
        opened: counts the blocks that are opened in the whole walk.
        bounds: (handle, layer) of what bounds a solid fill here, by the fill's own word.
    """

    rows: FloatArray
    index: int
    layer: str | None = None
    block: str | None = None
    insert: str | None = None
    open_blocks: tuple[str, ...] = ()
    look: Look = PLAIN
    opened: Iterator[int] = field(default_factory=lambda: itertools.count(1))
    bounds: frozenset[tuple[str, str]] = frozenset()

    def source(self, entity: Any, layer: str) -> Source:
        """The source of a mark drawn by an entity here."""
        return Source(
            layer,
            entity.dxftype(),
            str(entity.dxf.handle),
            self.index,
            self.block,
            self.insert,
            *look_of(entity, layer, self.look),
            self.open_blocks,
        )


def walk(
    entities: Iterator[Any] | list[Any],
    scale: float,
    wanted: Callable[[str], bool],
    first: int = 0,
) -> Iterator[Mark]:
    """Marks of the entities in order, in drawing coordinates times `scale`.

    Every entity yields at least one mark; on a layer that is not `wanted` that is an
    `Aside` with an empty reason, without any geometry worked out.

    Raises:
        TooMuchError: for blocks nested too deep or too many marks.
    """
    count = points = 0
    rows = np.vstack((np.eye(3) * scale, np.zeros(3)))
    opened = itertools.count(1)
    entities = list(entities)
    bounds = _bounds(entities)
    for index, entity in enumerate(entities, first):
        for mark in _marks(entity, Frame(rows, index, opened=opened, bounds=bounds), wanted):
            count += 1
            points += _weight(mark)
            if points > MOST_POINTS:
                raise TooMuchError(f"its shapes have more than {MOST_POINTS} vertices")
            if count > MOST_MARKS:
                raise TooMuchError(f"its inserts unfold to more than {MOST_MARKS} shapes")
            yield mark


def _bounds(entities: Iterable[Any]) -> frozenset[tuple[str, str]]:
    """Handle and layer of what solid fills name as their boundary, on their own layer."""
    result = set()
    for entity in entities:
        if entity.dxftype() == "HATCH" and entity.dxf.get("solid_fill", 1):
            layer = layer_of(entity).casefold()
            for path in entity.paths.paths:
                result |= {(str(handle).upper(), layer) for handle in path.source_boundary_objects}
    return frozenset(result)


def layer_of(entity: Any) -> str:
    """The layer an entity says it is on; "0", the default, when it says nothing readable."""
    try:
        return str(entity.dxf.get("layer", "0"))
    except Exception:  # kinds that the library does not know keep their tags raw
        try:
            return str(entity.graphic_properties().get("layer", "0"))
        except Exception:
            return "0"


def _marks(entity: Any, frame: Frame, wanted: Callable[[str], bool]) -> Iterator[Mark]:
    kind = entity.dxftype()
    layer = layer_of(entity)
    if frame.layer is not None and layer == "0":
        layer = frame.layer
    if kind == "INSERT":
        yield from _guarded(_insert(entity, frame, layer, wanted), frame.source(entity, layer))
        return
    source = frame.source(entity, layer)
    if not wanted(layer):
        yield Aside(source, "", said(entity, frame.rows))
    elif kind in TRUE_KINDS and entity.dxf.get("invisible", 0):
        yield Aside(source, "it is switched invisible in the drawing")
    elif kind in ANNOTATION:
        yield Aside(source, "it is an annotation, not a shape of the board")
    elif kind not in TRUE_KINDS:
        # the fill holds the same boundary as lines and arcs, and is read or refused itself
        if (source.handle.upper(), layer_of(entity).casefold()) in frame.bounds:
            yield Aside(source, BOUNDS_A_FILL, harmless=True)
            return
        what = f", {MEANING[kind]}," if kind in MEANING else ""
        words = f"a {kind}{what} cannot be read as a flat shape"
        yield Unread(source, "entity-unsupported", words)
    else:
        yield from _guarded(_flat(entity, kind, source, frame), source)


def _guarded(marks: Iterator[Mark], source: Source) -> Iterator[Mark]:
    """The marks; data that make the library or the arithmetic stumble end in an `Unread`."""
    try:
        yield from marks
    except (ValueError, ArithmeticError, AttributeError, TypeError, LookupError) as fault:
        yield Unread(source, "entity-damaged", f"its data make no sense ({_words(fault)})")
    except Exception as fault:
        if type(fault).__module__.partition(".")[0] not in ("ezdxf", "shapely"):
            raise
        yield Unread(source, "entity-damaged", f"its data make no sense ({_words(fault)})")


def _weight(mark: Mark) -> int:
    """Number of its vertices."""
    if isinstance(mark, Stroke):
        # the points of its arcs are worked out by now, and kept
        return len(mark.curve.points) if mark.bulges.any() else len(mark.vertices)
    if isinstance(mark, Curve):
        return len(mark.points)
    if isinstance(mark, Fill):
        return sum(int(shapely.get_num_coordinates(area)) for area in mark.areas)
    return 0


def _words(fault: BaseException) -> str:
    return (str(fault).strip().splitlines() or [type(fault).__name__])[0][:120]


def _flat(entity: Any, kind: str, source: Source, frame: Frame) -> Iterator[Mark]:
    if kind in TEXT_KINDS:
        yield Words(source, text_of(entity, frame.rows))
        return
    to_mm = plane(entity, kind, frame.rows)
    if to_mm is None:
        yield Unread(source, "entity-not-flat", "it is tilted out of the drawing plane", None)
        return
    if not all(math.isfinite(v) for v in to_mm):
        yield Unread(source, "entity-damaged", "its place is no finite number")
        return
    most, least = to_mm.stretch
    if not least > 1e-9 * most:
        yield Unread(source, "entity-not-flat", "its insert squashes it to a line")
        return
    # numbers that are none make the arithmetic warn; what comes out is checked
    with np.errstate(all="ignore"):
        mark = _finite(SHAPES[kind](entity, source, to_mm))
    yield mark


def _finite(mark: Mark) -> Mark:
    """The mark, or word that it holds numbers that are none or lie beyond any drawing."""
    if isinstance(mark, Stroke):
        # an arc too large is caught by its curve
        size = np.abs(mark.curve.points).max() + sum(map(abs, mark.bulges.tolist()))
        size += sum(map(abs, mark.widths.tolist())) * mark.to_mm.stretch[0] * 1e4
    elif isinstance(mark, Curve):
        size = np.abs(mark.points).max()
    elif isinstance(mark, Fill):
        size = max(abs(value) for area in mark.areas for value in area.bounds)
    else:
        return mark
    if size < LARGEST:  # False for what is no number
        return mark
    return Unread(mark.source, "entity-damaged", "it holds numbers that no board has")


def _insert(entity: Any, frame: Frame, layer: str, wanted: Callable[[str], bool]) -> Iterator[Mark]:
    """Content of an insert, each copy of an array of them, and its attributes."""
    source = frame.source(entity, layer)
    name = str(entity.dxf.get("name", ""))
    key = name.casefold()
    block = entity.block()
    if block is None:
        yield Unread(source, "block-missing", f"the drawing does not define block {name!r}")
        return
    if block.block is not None and block.block.dxf.get("flags", 0) & 4:
        yield Unread(source, "block-elsewhere", f"block {name!r} is kept in another drawing")
        return
    if key in frame.open_blocks:
        yield Unread(source, "block-cycle", f"block {name!r} holds itself")
        return
    if len(frame.open_blocks) >= MOST_DEEP:
        raise TooMuchError(f"blocks are nested more than {MOST_DEEP} deep at {source}")
    if _clipped(entity):
        yield Unread(source, "block-clipped", "a clipping frame hides part of it")
        return
    empty = True
    for attribute in entity.attribs:
        empty = False
        yield from _marks(attribute, frame, wanted)
    bounds = _bounds(block)
    copies = entity.multi_insert() if entity.mcount > 1 else (entity,)
    if entity.mcount > MOST_MARKS:
        raise TooMuchError(f"{source} repeats its block {entity.mcount} times")
    for copy in copies:
        # blocks that draw nothing make no marks, however often they are opened
        if next(frame.opened) > MOST_MARKS:
            raise TooMuchError(f"its inserts open blocks more than {MOST_MARKS} times")
        # row vectors: p' = p · M; then on by the frame's own map
        rows = np.array(list(copy.matrix44())).reshape(4, 4) @ frame.rows
        inner = Frame(
            rows,
            frame.index,
            layer,
            name,
            frame.insert or str(entity.dxf.handle),
            (*frame.open_blocks, key),
            Look(source.colour, source.line_type),
            frame.opened,
            bounds,
        )
        for child in block:
            empty = False
            yield from _marks(child, inner, wanted)
    if empty:
        yield Aside(source, "its block is empty")


def _clipped(entity: Any) -> bool:
    if not entity.has_extension_dict:
        return False
    from ezdxf.xclip import XClip

    clip = XClip(entity)
    return bool(clip.has_clipping_path and clip.is_clipping_enabled)


def plane(entity: Any, kind: str, rows: FloatArray) -> Affine | None:
    """Map of the entity's own plane to mm, or None when it is tilted to the drawing's.

    `rows` is the (4, 3) map of points of the drawing, p' = (x, y, z, 1) · rows.
    """
    dxf = entity.dxf
    ex, ey, ez = dxf.extrusion if dxf.hasattr("extrusion") else (0.0, 0.0, 1.0)
    x, y, z, at = rows.tolist()
    height = 0.0
    if kind in ("LINE", "SPLINE", "ELLIPSE"):
        # these are written in world coordinates; the extrusion turns no point of theirs
        if kind == "ELLIPSE" and (abs(ex) > 1e-9 * abs(ez) or abs(ey) > 1e-9 * abs(ez)):
            return None
    else:
        height = _elevation(entity, kind)
        if not (ex == 0 and ey == 0 and ez > 0):
            ocs = entity.ocs()
            x, y, z = (np.array([ocs.ux.xyz, ocs.uy.xyz, ocs.uz.xyz]) @ rows[:3]).tolist()
    size = max(abs(x[0]), abs(x[1]), abs(y[0]), abs(y[1]))
    if max(abs(x[2]), abs(y[2])) > 1e-6 * size:
        return None
    return Affine(x[0], y[0], height * z[0] + at[0], x[1], y[1], height * z[1] + at[1])


def _elevation(entity: Any, kind: str) -> float:
    dxf = entity.dxf
    if kind == "LWPOLYLINE":
        return float(dxf.get("elevation", 0.0))
    if kind == "HATCH" or kind == "POLYLINE":
        return float(dxf.elevation[2]) if dxf.hasattr("elevation") else 0.0
    if kind in ("SOLID", "TRACE"):
        return float(dxf.vtx0[2]) if len(dxf.vtx0) > 2 else 0.0
    return float(dxf.center[2])  # an arc or a circle
