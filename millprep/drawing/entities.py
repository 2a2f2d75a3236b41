"""The walk over a drawing's model space: every entity becomes marks, in mm.

Inserts are opened here, with every map they put on their content. Only geometry on the
layers asked for is worked out.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from millprep.drawing import hatch, spline
from millprep.drawing.affine import Affine
from millprep.drawing.marks import Aside, Curve, Fill, Mark, Source, Stroke, Unread, Words
from millprep.drawing.neighbours import TooMuchError
from millprep.values.path import SAGITTA

FloatArray = NDArray[np.float64]

_X, _Y, _Z = np.eye(3)

MOST_DEEP = 24
"""Blocks within blocks beyond this depth are refused."""

MOST_MARKS = 100_000
"""Marks beyond this number are refused: inserts of inserts grow without bound."""

LARGEST = 1e9
"""Coordinates, and ten thousand times a width, stay below this, mm."""

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


@dataclass(frozen=True, slots=True)
class Frame:
    """Where the walk stands: the map to mm, and the insert it is inside of.

    Attributes:
        rows: (4, 3) map of 3-D points, p' = (x, y, z, 1) · rows, z in mm too.
    """

    rows: FloatArray
    index: int
    layer: str | None = None
    block: str | None = None
    insert: str | None = None
    open_blocks: tuple[str, ...] = ()

    def source(self, entity: Any, layer: str) -> Source:
        """The source of a mark drawn by an entity here."""
        return Source(
            layer,
            entity.dxftype(),
            str(entity.dxf.handle),
            self.index,
            self.block,
            self.insert,
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
    for index, entity in enumerate(entities, first):
        for mark in _marks(entity, Frame(rows, index), wanted):
            count += 1
            points += _weight(mark)
            if points > MOST_POINTS:
                raise TooMuchError(f"its shapes have more than {MOST_POINTS} vertices")
            if count > MOST_MARKS:
                raise TooMuchError(f"its inserts unfold to more than {MOST_MARKS} shapes")
            yield mark


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
        yield Aside(source, "")
    elif kind in TRUE_KINDS and entity.dxf.get("invisible", 0):
        yield Aside(source, "it is switched invisible in the drawing")
    elif kind in ANNOTATION:
        yield Aside(source, "it is an annotation, not a shape of the board")
    elif kind not in TRUE_KINDS:
        yield Unread(source, "entity-unsupported", f"a {kind} cannot be read as a flat shape")
    else:
        yield from _guarded(_flat(entity, kind, source, frame), source)


def _guarded(marks: Iterator[Mark], source: Source) -> Iterator[Mark]:
    """The marks; data that make the library or the arithmetic stumble end in an `Unread`."""
    try:
        yield from marks
    except (ValueError, ArithmeticError, AttributeError, TypeError, LookupError) as fault:
        yield Unread(source, "entity-damaged", f"its data make no sense ({_words(fault)})")
    except Exception as fault:
        if type(fault).__module__.partition(".")[0] != "ezdxf":
            raise
        yield Unread(source, "entity-damaged", f"its data make no sense ({_words(fault)})")


def _weight(mark: Mark) -> int:
    """Number of its vertices."""
    if isinstance(mark, Stroke):
        return len(mark.vertices)
    if isinstance(mark, Curve):
        return len(mark.points)
    if isinstance(mark, Fill):
        return sum(int(shapely.get_num_coordinates(area)) for area in mark.areas)
    return 0


def _words(fault: BaseException) -> str:
    return (str(fault).strip().splitlines() or [type(fault).__name__])[0][:120]


def _flat(entity: Any, kind: str, source: Source, frame: Frame) -> Iterator[Mark]:
    if kind in ("TEXT", "ATTRIB", "MTEXT"):
        yield _text(entity, kind, source, frame)
        return
    to_mm = _plane(entity, kind, frame)
    if to_mm is None:
        yield Unread(source, "entity-not-flat", "it stands tilted out of the drawing plane", None)
        return
    if not all(math.isfinite(v) for v in to_mm):
        yield Unread(source, "entity-damaged", "its place is no finite number")
        return
    most, least = to_mm.stretch
    if not least > 1e-9 * most:
        yield Unread(source, "entity-not-flat", "its insert squashes it to a line")
        return
    mark = _SHAPES[kind](entity, source, to_mm)
    yield _finite(mark)


def _finite(mark: Mark) -> Mark:
    """The mark, or word that it holds numbers that are none or lie beyond any drawing."""
    if isinstance(mark, Stroke):
        size = np.abs(mark.to_mm.points(mark.vertices)).max()
        size += np.abs(mark.bulges).sum() + np.abs(mark.widths).sum() * mark.to_mm.stretch[0] * 1e4
        if mark.bulges.any():
            size += np.abs(mark.curve.points).max()  # here an arc too large is caught
    elif isinstance(mark, Curve):
        size = np.abs(mark.points).max()
    elif isinstance(mark, Fill):
        size = np.abs([area.bounds for area in mark.areas]).max()
    else:
        return mark
    if size < LARGEST:  # False for what is no number
        return mark
    return Unread(mark.source, "entity-damaged", "it holds numbers that no board has")


def _plane(entity: Any, kind: str, frame: Frame) -> Affine | None:
    """Map of the entity's own plane to mm, or None when it stands tilted to the drawing's."""
    dxf = entity.dxf
    rows = frame.rows
    ex, ey, ez = dxf.extrusion if dxf.hasattr("extrusion") else (0.0, 0.0, 1.0)
    if kind in ("LINE", "SPLINE", "ELLIPSE"):
        # these are written in world coordinates; the extrusion turns no point of theirs
        ux, uy, origin = _X, _Y, _Z * 0
        if kind == "ELLIPSE" and (abs(ex) > 1e-9 * abs(ez) or abs(ey) > 1e-9 * abs(ez)):
            return None
    elif ex == 0 and ey == 0 and ez > 0:
        ux, uy = _X, _Y
        origin = _Z * _elevation(entity, kind)
    else:
        ocs = entity.ocs()
        ux, uy = np.array(ocs.ux.xyz), np.array(ocs.uy.xyz)
        origin = np.array(ocs.uz.xyz) * _elevation(entity, kind)
    x, y = ux @ rows[:3], uy @ rows[:3]
    at = origin @ rows[:3] + rows[3]
    size = max(abs(x[0]), abs(x[1]), abs(y[0]), abs(y[1]))
    if max(abs(x[2]), abs(y[2])) > 1e-6 * size:
        return None
    return Affine(float(x[0]), float(y[0]), float(at[0]), float(x[1]), float(y[1]), float(at[1]))


def _elevation(entity: Any, kind: str) -> float:
    dxf = entity.dxf
    if kind == "LWPOLYLINE":
        return float(dxf.get("elevation", 0.0))
    if kind == "HATCH" or kind == "POLYLINE":
        return float(dxf.elevation[2]) if dxf.hasattr("elevation") else 0.0
    if kind in ("SOLID", "TRACE"):
        return float(dxf.vtx0[2]) if len(dxf.vtx0) > 2 else 0.0
    if kind in ("ARC", "CIRCLE"):
        return float(dxf.center[2])
    return 0.0


# ---------------------------------------------------------------- one function a kind


def _line(entity: Any, source: Source, to_mm: Affine) -> Mark:
    (x0, y0, z0), (x1, y1, z1) = entity.dxf.start, entity.dxf.end
    if z0 != z1 and (x0, y0) == (x1, y1):
        return Aside(source, "it has no length in the drawing plane")
    return _stroke(source, [(x0, y0), (x1, y1)], [0.0], [0.0], False, to_mm)


def _arc(entity: Any, source: Source, to_mm: Affine) -> Mark:
    dxf = entity.dxf
    x, y, radius = dxf.center[0], dxf.center[1], dxf.radius
    if not radius > 0:
        return Aside(source, "it has no radius")
    start, end = math.radians(dxf.start_angle), math.radians(dxf.end_angle)
    sweep = (end - start) % (2 * math.pi)
    if sweep < 1e-12:
        sweep = 2 * math.pi
    if sweep > 2 * math.pi - 1e-12:
        return _stroke(source, [(x + radius, y), (x - radius, y)], [1.0, 1.0], [0.0] * 2, True,
                       to_mm)  # fmt: skip
    n = math.ceil(sweep / (math.pi + 1e-12))
    angles = [start + sweep * k / n for k in range(n + 1)]
    vertices = [(x + radius * math.cos(a), y + radius * math.sin(a)) for a in angles]
    return _stroke(source, vertices, [math.tan(sweep / n / 4)] * n, [0.0] * n, False, to_mm)


def _circle(entity: Any, source: Source, to_mm: Affine) -> Mark:
    x, y, radius = entity.dxf.center[0], entity.dxf.center[1], entity.dxf.radius
    if not radius > 0:
        return Aside(source, "it has no radius")
    ends = [(x + radius, y), (x - radius, y)]
    return _stroke(source, ends, [1.0, 1.0], [0.0, 0.0], True, to_mm)


def _lwpolyline(entity: Any, source: Source, to_mm: Affine) -> Mark:
    rows = [tuple(map(float, row)) for row in entity.get_points("xyseb")]
    closed = bool(entity.closed)
    constant = float(entity.dxf.get("const_width", 0.0))
    own = any(s or e for _, _, s, e, _ in rows)
    # the constant width is not used where the vertices have widths of their own
    start = [s if own else constant for _, _, s, _, _ in rows]
    end = [e if own else constant for _, _, _, e, _ in rows]
    return _polyline_stroke(
        source,
        [(x, y) for x, y, *_ in rows],
        [b for *_, b in rows],
        start,
        end,
        closed,
        to_mm,
    )


def _polyline(entity: Any, source: Source, to_mm: Affine) -> Mark:
    mode = entity.get_mode()
    if mode not in ("AcDb2dPolyline", "AcDb3dPolyline"):
        return Unread(source, "entity-unsupported", "a mesh cannot be read as a flat shape")
    vertices = list(entity.vertices)
    if entity.dxf.get("flags", 0) & 4 or entity.dxf.get("flags", 0) & 2:
        # a fitted curve: the frame's control points are no part of it
        vertices = [v for v in vertices if not v.dxf.get("flags", 0) & 16]
    default_start = float(entity.dxf.get("default_start_width", 0.0))
    default_end = float(entity.dxf.get("default_end_width", 0.0))
    flat = mode == "AcDb2dPolyline"
    return _polyline_stroke(
        source,
        [(float(v.dxf.location[0]), float(v.dxf.location[1])) for v in vertices],
        [float(v.dxf.get("bulge", 0.0)) if flat else 0.0 for v in vertices],
        [float(v.dxf.get("start_width", default_start)) if flat else 0.0 for v in vertices],
        [float(v.dxf.get("end_width", default_end)) if flat else 0.0 for v in vertices],
        bool(entity.is_closed),
        to_mm,
    )


def _polyline_stroke(
    source: Source,
    vertices: list[tuple[float, float]],
    bulges: list[float],
    start: list[float],
    end: list[float],
    closed: bool,
    to_mm: Affine,
) -> Mark:
    if not vertices:
        return Aside(source, "it has no vertices")
    last = len(vertices) if closed else len(vertices) - 1
    tapered = any(
        abs(s - e) > 1e-9 * max(s, e) for s, e in zip(start[:last], end[:last], strict=True)
    )
    mark = _stroke(source, vertices, bulges[:last], start[:last], closed, to_mm)
    return replace(mark, tapered=True) if tapered and isinstance(mark, Stroke) else mark


def _stroke(
    source: Source,
    vertices: list[tuple[float, float]],
    bulges: list[float],
    widths: list[float],
    closed: bool,
    to_mm: Affine,
) -> Mark:
    """A stroke without repeated points; one that returns to its start is closed."""
    scale = to_mm.stretch[0]
    xy = [vertices[0]]
    b: list[float] = []
    w: list[float] = []
    for i, (bulge, width) in enumerate(zip(bulges, widths, strict=True)):
        after = vertices[(i + 1) % len(vertices)]
        if math.dist(xy[-1], after) * scale <= 1e-9:
            continue
        xy.append(after)
        b.append(bulge)
        w.append(width)
    if not b:
        if not any(width > 0 for width in widths):
            return Aside(source, "it has no length and no width")
        return Stroke(source, np.array(xy), np.zeros(0), np.array(widths), False, to_mm)
    if (closed or len(b) > 1) and math.dist(xy[0], xy[-1]) * scale <= 1e-9:
        xy.pop()
        closed = True
    elif closed:
        # the last points coincided; the segment that closes was skipped with them
        closed = False
    return Stroke(source, np.array(xy), np.array(b), np.array(w), closed, to_mm)


def _ellipse(entity: Any, source: Source, to_mm: Affine) -> Mark:
    dxf = entity.dxf
    major, ratio = np.array(dxf.major_axis.xyz[:2]), float(dxf.ratio)
    ez = float(dxf.extrusion[2]) if dxf.hasattr("extrusion") else 1.0
    # minor axis = extrusion × major axis, times the ratio
    minor = np.array([-major[1], major[0]]) * ratio * math.copysign(1.0, ez)
    start = float(dxf.get("start_param", 0.0))
    end = float(dxf.get("end_param", 2 * math.pi))
    sweep = (end - start) % (2 * math.pi)
    closed = sweep < 1e-9 or sweep > 2 * math.pi - 1e-9
    most = Affine(major[0], minor[0], 0, major[1], minor[1], 0).stretch[0] * to_mm.stretch[0]
    if not most > 0:
        return Aside(source, "it has no size")
    t = spline.steps(most, 2 * math.pi if closed else sweep, SAGITTA, closed) + start
    points = np.array(dxf.center.xyz[:2]) + np.outer(np.cos(t), major) + np.outer(np.sin(t), minor)
    return Curve(source, to_mm.points(points), closed, True)


def _spline(entity: Any, source: Source, to_mm: Affine) -> Mark:
    points, closed = spline.flattened(entity, SAGITTA / to_mm.stretch[0])
    mm = to_mm.points(points)
    if np.ptp(mm, axis=0).max() <= 1e-9:
        return Aside(source, "it has no length")
    return Curve(source, mm, closed, True)


def _solid(entity: Any, source: Source, to_mm: Affine) -> Mark:
    dxf = entity.dxf
    corners = [dxf.vtx0, dxf.vtx1, dxf.vtx3 if dxf.hasattr("vtx3") else dxf.vtx2, dxf.vtx2]
    return hatch.filled(source, [to_mm.points([(x, y) for x, y, *_ in corners])], False)


def _hatch(entity: Any, source: Source, to_mm: Affine) -> Mark:
    return hatch.read(entity, source, to_mm)


_SHAPES: dict[str, Callable[[Any, Source, Affine], Mark]] = {
    "LINE": _line,
    "ARC": _arc,
    "CIRCLE": _circle,
    "LWPOLYLINE": _lwpolyline,
    "POLYLINE": _polyline,
    "ELLIPSE": _ellipse,
    "SPLINE": _spline,
    "SOLID": _solid,
    "TRACE": _solid,
    "HATCH": _hatch,
}


def _text(entity: Any, kind: str, source: Source, frame: Frame) -> Mark:
    dxf = entity.dxf
    if kind == "MTEXT":
        words = str(entity.plain_text())
        point = np.array(dxf.insert)
        x_axis, up = np.array([1.0, 0, 0]), np.array([0, 1.0, 0])
        if dxf.hasattr("extrusion") and dxf.extrusion[2] < 0:
            x_axis = -x_axis
        turned_over = False
    else:
        words = str(entity.plain_text())
        ocs = entity.ocs()
        point = np.array(ocs.to_wcs(dxf.insert).xyz)
        x_axis, up = np.array(ocs.ux.xyz), np.array(ocs.uy.xyz)
        flags = int(dxf.get("text_generation_flag", 0))
        # 2 writes it backwards, 4 upside down; both together only turn it
        turned_over = bool(flags & 2) != bool(flags & 4)
    at = point @ frame.rows[:3] + frame.rows[3]
    x, y = x_axis @ frame.rows[:3], up @ frame.rows[:3]
    mirrored = (x[0] * y[1] - x[1] * y[0] < 0) != turned_over
    return Words(source, words, (float(at[0]), float(at[1])), bool(mirrored))


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
    copies = entity.multi_insert() if entity.mcount > 1 else (entity,)
    if entity.mcount > MOST_MARKS:
        raise TooMuchError(f"{source} repeats its block {entity.mcount} times")
    for copy in copies:
        m = np.array(list(copy.matrix44())).reshape(4, 4)
        # row vectors: p' = p · M; then on by the frame's own map
        rows = np.vstack((m[:3, :3] @ frame.rows[:3], m[3, :3] @ frame.rows[:3] + frame.rows[3]))
        inner = Frame(
            rows,
            frame.index,
            layer,
            name,
            frame.insert or str(entity.dxf.handle),
            (*frame.open_blocks, key),
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
