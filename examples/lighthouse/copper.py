"""What a board is made of while it is being drawn, and the proof that it is what was meant.

Lengths are mm, seen from the side the drawing is drawn from. `U` is the placing module.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import shapely
from shapely.geometry import LineString, Point, Polygon

U = 1.27
CURVE = 32  # segments a quarter circle, for the checks only
LEAST_GAP = 0.5
LEAST_RING = 0.3
EDGE = 1.5

XY = tuple[float, float]


@dataclass
class Pad:
    at: XY
    net: str
    name: str
    size: float = 2.2
    hole: float = 1.1
    donut: bool = False
    spare: bool = False

    def shape(self) -> Polygon:
        return Point(self.at).buffer(self.size / 2, CURVE)


@dataclass
class Track:
    points: list[XY]
    width: float
    net: str

    def shape(self) -> Polygon:
        return LineString(self.points).buffer(self.width / 2, CURVE)


@dataclass
class Area:
    """Filled copper with round openings: (x, y, radius) each."""

    corners: list[XY]
    openings: list[tuple[float, float, float]]
    net: str

    def shape(self) -> Polygon:
        area = Polygon(self.corners)
        for x, y, radius in self.openings:
            area = area.difference(Point(x, y).buffer(radius, CURVE))
        return area


@dataclass
class Link:
    """A wire on the component side between two pads of one net."""

    a: XY
    b: XY
    net: str


@dataclass
class Body:
    """Where a part stands: a line with a half width (a round part has a = b)."""

    a: XY
    b: XY
    half: float


@dataclass
class Sheet:
    """One drawing.

    Attributes:
        corners: outline, counter-clockwise, each with the radius of its rounding.
        windows: (x0, y0, x1, y1, radius) cut-outs.
        mounts: (x, y, diameter) holes that keep copper away.
    """

    name: str
    corners: list[tuple[float, float, float]]
    windows: list[tuple[float, float, float, float, float]] = field(default_factory=list)
    mounts: list[tuple[float, float, float]] = field(default_factory=list)
    pads: list[Pad] = field(default_factory=list)
    tracks: list[Track] = field(default_factory=list)
    areas: list[Area] = field(default_factory=list)
    links: list[Link] = field(default_factory=list)
    bodies: list[Body] = field(default_factory=list)
    notes: list[tuple[str, float, float, float]] = field(default_factory=list)
    widths: dict[str, float] = field(default_factory=dict)

    def part(
        self, name: str, a: XY, b: XY, nets: tuple[str, str], hole: float = 1.0, size: float = 2.0
    ) -> None:
        """A two-pad part, places in modules."""
        pa, pb = (a[0] * U, a[1] * U), (b[0] * U, b[1] * U)
        pitch = math.dist(pa, pb)
        for at, net, end in ((pa, nets[0], "a"), (pb, nets[1], "b")):
            self.pads.append(Pad(at, net, f"{name}.{end}", size, hole))
        cut = min(0.25, 1.9 / pitch)  # the body stops short of the wires' bends
        inner = [(pa[0] + (pb[0] - pa[0]) * t, pa[1] + (pb[1] - pa[1]) * t) for t in (cut, 1 - cut)]
        self.bodies.append(Body(inner[0], inner[1], 1.2))
        mid = ((pa[0] + pb[0]) / 2, (pa[1] + pb[1]) / 2)
        upright = abs(pb[1] - pa[1]) > abs(pb[0] - pa[0])
        self.notes.append((name, mid[0], mid[1], 90.0 if upright else 0.0))

    def link(self, a: XY, b: XY, net: str) -> None:
        """A wire between two new pads, places in modules."""
        pa, pb = (a[0] * U, a[1] * U), (b[0] * U, b[1] * U)
        for at in (pa, pb):
            self.pads.append(Pad(at, net, "wire", 2.2, 1.0, donut=True))
        self.links.append(Link(pa, pb, net))
        self.bodies.append(Body(pa, pb, 0.4))

    def socket(self, name: str, x: float, y: float, gap_angle: float, nets: list[str]) -> None:
        """A 7-pin socket, place in modules: 7 of 8 positions at 45° on the 9.53 mm circle.

        Pins run clockwise seen from below, so counter-clockwise seen from the components.
        """
        for pin, net in enumerate(nets, 1):
            turn = math.radians(gap_angle + 45 * pin)
            at = (x * U + 9.53 / 2 * math.cos(turn), y * U + 9.53 / 2 * math.sin(turn))
            spare = net == ""
            self.pads.append(
                Pad(at, net or f"spare {name}.{pin}", f"{name}.{pin}", 2.2, 1.1, True, spare)
            )
        self.bodies.append(Body((x * U, y * U), (x * U, y * U), 8.2))
        self.notes.append((name, x * U, y * U, 0.0))

    def spare(self, name: str, x: float, y: float) -> None:
        """A lone pad left for later, marked as such."""
        self.pads.append(Pad((x * U, y * U), f"spare {name}", name, 2.2, 1.0, spare=True))
        self.notes.append(("spare", x * U, y * U - 1.75, 0.0))

    def rail(self, net: str, width: float, points: list[XY]) -> None:
        """A track laid by hand, places in modules."""
        self.tracks.append(Track([(x * U, y * U) for x, y in points], width, net))

    def outline(self) -> Polygon:
        points: list[XY] = []
        for kind, data in edges(self.corners):
            points += [data[0], data[1]] if kind == "line" else arc_points(data)
        area = Polygon(points)
        for x0, y0, x1, y1, radius in self.windows:
            core = shapely.box(x0 + radius, y0 + radius, x1 - radius, y1 - radius)
            area = area.difference(core.buffer(radius, CURVE))
        return area


def edges(corners: list[tuple[float, float, float]]) -> list[tuple[str, tuple]]:
    """Lines and arcs of a counter-clockwise outline with rounded corners, in order.

    Arcs are (x, y, radius, start, end) in degrees, counter-clockwise, as DXF has them, and
    with True behind them where the outline runs through them clockwise.
    """
    fillets = []
    for k, (x, y, radius) in enumerate(corners):
        px, py, _ = corners[k - 1]
        nx, ny, _ = corners[(k + 1) % len(corners)]
        before, after = math.dist((x, y), (px, py)), math.dist((x, y), (nx, ny))
        u = ((px - x) / before, (py - y) / before)
        v = ((nx - x) / after, (ny - y) / after)
        a = (round(x + u[0] * radius, 9), round(y + u[1] * radius, 9))
        b = (round(x + v[0] * radius, 9), round(y + v[1] * radius, 9))
        centre = (round(x + (u[0] + v[0]) * radius, 9), round(y + (u[1] + v[1]) * radius, 9))
        inward = u[0] * v[1] - u[1] * v[0] > 0  # an inside corner: the outline turns right
        fillets.append((a, b, centre, radius, inward))
    out: list[tuple[str, tuple]] = []
    for k, (a, b, centre, radius, inward) in enumerate(fillets):
        if radius > 0:
            first, last = (b, a) if inward else (a, b)
            angles = [
                round(math.degrees(math.atan2(p[1] - centre[1], p[0] - centre[0])) % 360, 9)
                for p in (first, last)
            ]
            out.append(("arc", (*centre, radius, *angles, inward)))
        out.append(("line", (b, fillets[(k + 1) % len(fillets)][0])))
    return out


def arc_points(arc: tuple) -> list[XY]:
    """Points within the arc; the lines beside it bring its ends."""
    x, y, radius, start, end, backwards = arc
    sweep = (end - start) % 360
    turns = [math.radians(start + sweep * k / CURVE) for k in range(1, CURVE)]
    points = [(x + radius * math.cos(t), y + radius * math.sin(t)) for t in turns]
    return points[::-1] if backwards else points


@dataclass
class Figures:
    holes: int
    pieces: int
    tracks: int
    links: int
    lone: int
    gap: float
    gap_at: XY
    edge: float
    faults: list[str]


def narrowest(pieces: list, tree: shapely.STRtree) -> tuple[float, XY]:
    """The narrowest gap between two pieces, mm, and where it is."""
    gap, gap_at = math.inf, (0.0, 0.0)
    left, right = tree.query(pieces, predicate="dwithin", distance=3.0)
    for a, b in zip(left.tolist(), right.tolist(), strict=True):
        if a < b:
            apart = pieces[a].distance(pieces[b])
            if apart < gap:
                near = shapely.shortest_line(pieces[a], pieces[b]).centroid
                gap, gap_at = apart, (near.x, near.y)
    return gap, gap_at


def examine(sheet: Sheet) -> Figures:
    """Whether the copper is what the nets say, and how narrow its gaps are."""
    items = [*sheet.pads, *sheet.tracks, *sheet.areas]
    shapes = [item.shape() for item in items]
    pieces = list(shapely.get_parts(shapely.union_all(shapes)))
    tree = shapely.STRtree(pieces)
    faults: list[str] = []
    home: list[int] = []
    nets: list[set[str]] = [set() for _ in pieces]
    pads: list[int] = [0] * len(pieces)
    lone_ok: list[bool] = [False] * len(pieces)
    for item, shape in zip(items, shapes, strict=True):
        at = int(tree.query(shape.representative_point(), predicate="intersects")[0])
        home.append(at)
        nets[at].add(item.net)
        if isinstance(item, Pad):
            pads[at] += 1
            lone_ok[at] = item.spare
            if (item.size - item.hole) / 2 < LEAST_RING:
                faults.append(f"{item.name}: ring below {LEAST_RING}")
    faults += [f"short: {sorted(found)}" for found in nets if len(found) > 1]

    # Nets: pieces joined by wires. One net must be one group, and no wire may be idle.
    group = list(range(len(pieces)))

    def root(k: int) -> int:
        while group[k] != k:
            k = group[k]
        return k

    for link in sheet.links:
        a, b = (int(tree.query(Point(end), predicate="intersects")[0]) for end in (link.a, link.b))
        if a == b or root(a) == root(b):
            faults.append(f"idle wire on {link.net} at {link.a}")
        group[root(a)] = root(b)
    for net in sorted({item.net for item in items}):
        parts = {root(home[k]) for k, item in enumerate(items) if item.net == net}
        if len(parts) > 1:
            faults.append(f"open: {net} in {len(parts)} parts")
    lone = 0
    for k, count in enumerate(pads):
        if count < 2:
            lone += 1
            if not lone_ok[k]:
                faults.append(f"lone pad: {sorted(nets[k])}")

    gap, gap_at = narrowest(pieces, tree)
    if gap < LEAST_GAP:
        faults.append(f"gap {gap:.3f} at {gap_at}")
    outline = sheet.outline()
    copper = shapely.union_all(pieces)
    edge = copper.distance(outline.boundary)
    if edge < EDGE or not outline.covers(copper):
        faults.append(f"copper {edge:.3f} from the edge")
    for x, y, diameter in sheet.mounts:
        clear = copper.distance(Point(x, y)) - diameter / 2
        if clear < LEAST_GAP:
            faults.append(f"copper {clear:.3f} from the mounting hole at {x:.2f}, {y:.2f}")
    places = [pad.at for pad in sheet.pads]
    for k, a in enumerate(places):
        faults += [f"pads overlap at {a}" for b in places[k + 1 :] if math.dist(a, b) < 2.0]
    return Figures(
        len(sheet.pads) + len(sheet.mounts),
        len(pieces),
        len(sheet.tracks),
        len(sheet.links),
        lone,
        gap,
        gap_at,
        edge,
        faults,
    )
