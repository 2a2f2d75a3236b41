"""A small maze router for one layer of copper, with wires where tracks would have to cross.

It works on a half-module grid. Every choice is made in a fixed order, so the same parts give
the same tracks. What it lays is proved afterwards by `copper.examine`, not here.
"""

from __future__ import annotations

import heapq
import math

import numpy as np
import shapely
from copper import EDGE, Link, Pad, Sheet, Track, U

GRID = U / 2
GAP = 0.57  # a diagonal step comes up to 0.07 nearer than its two ends
ROOMY = 1.3  # the gap a track keeps where it costs little
WIRE_PAD = 2.2
WIRE_LENGTHS = (12, 16, 20, 24)  # steps: 7.62, 10.16, 12.7, 15.24 mm
WIRE_COST = 34.0  # a wire is worth so many mm of detour
BEND_COST = 0.25
MOUNT_CLEAR = 3.2  # from the centre: room for the screw's head
WIDTHS = (0.8, 1.0, 1.2, 1.5, 2.0)


class Router:
    def __init__(self, sheet: Sheet) -> None:
        self.sheet = sheet
        outline = sheet.outline()
        _, _, x1, y1 = outline.bounds
        self.nx, self.ny = int(x1 / GRID) + 1, int(y1 / GRID) + 1
        self.x = np.arange(self.nx)[:, None] * GRID
        self.y = np.arange(self.ny)[None, :] * GRID
        gx, gy = np.meshgrid(self.x[:, 0], self.y[0], indexing="ij")
        cells = shapely.points(gx, gy)
        self.to_edge = shapely.distance(cells, outline.boundary)
        self.to_edge[~shapely.contains_properly(outline, cells)] = 0.0
        self.kinds = {width: width / 2 for width in WIDTHS} | {0.0: WIRE_PAD / 2}
        self.hard = {kind: self._zero() for kind in self.kinds}
        self.soft = {kind: self._zero() for kind in self.kinds}
        self.roomy = self._zero()
        self.bored, self.body = self._zero(), self._zero()
        self.fixed: dict[str, list[Pad | Track]] = {}
        self.laid: dict[str, list[Pad | Track]] = {}
        self.wires: dict[str, list[Link]] = {}
        self.past = np.zeros((self.nx, self.ny))
        for item in [*sheet.pads, *sheet.tracks]:
            self.fixed.setdefault(item.net, []).append(item)
            self._stamp(item, self.hard, 1)
        for pad in sheet.pads:
            self._near(self.body, pad.at, pad.at, 1.4, 1)  # no wire over a soldered end
        for area in sheet.areas:
            apart = shapely.distance(cells, area.shape())
            for kind, half in self.kinds.items():
                self.hard[kind] += apart < half + GAP
        for body in sheet.bodies:
            self._near(self.body, body.a, body.b, body.half + 0.6, 1)
        for mx, my, _ in sheet.mounts:
            for kind, half in self.kinds.items():
                self._near(self.hard[kind], (mx, my), (mx, my), MOUNT_CLEAR + half, 1)

    def _zero(self) -> np.ndarray:
        return np.zeros((self.nx, self.ny), dtype=np.int16)

    def _near(self, grid: np.ndarray, a: tuple, b: tuple, reach: float, sign: int) -> None:
        """Count up the cells nearer to the line a to b than `reach`."""
        i0 = max(0, int((min(a[0], b[0]) - reach) / GRID))
        i1 = min(self.nx, int((max(a[0], b[0]) + reach) / GRID) + 2)
        j0 = max(0, int((min(a[1], b[1]) - reach) / GRID))
        j1 = min(self.ny, int((max(a[1], b[1]) + reach) / GRID) + 2)
        x, y = self.x[i0:i1] - a[0], self.y[:, j0:j1] - a[1]
        dx, dy = b[0] - a[0], b[1] - a[1]
        along = np.clip((x * dx + y * dy) / max(dx * dx + dy * dy, 1e-12), 0, 1)
        near = np.hypot(x - along * dx, y - along * dy) < reach - 1e-6
        grid[i0:i1, j0:j1] += (sign * near).astype(np.int16)

    def _stamp(self, item: Pad | Track, grids: dict[float, np.ndarray], sign: int) -> None:
        if isinstance(item, Pad):
            lines, half = [(item.at, item.at)], item.size / 2
            self._near(self.bored, item.at, item.at, 2.5, sign)
        else:
            lines, half = list(zip(item.points, item.points[1:], strict=False)), item.width / 2
        for a, b in lines:
            for kind, own in self.kinds.items():
                self._near(grids[kind], a, b, half + own + GAP, sign)
            self._near(self.roomy, a, b, half + 0.5 + ROOMY, sign)

    def route(self, nets: list[str]) -> None:
        """Join every net's pads, the given order first; what stands in the way is laid anew."""
        queue = list(nets)
        for turn in range(len(nets) * 6):
            if not queue:
                break
            net = queue.pop(0)
            if not self._net(net, pushing=False):
                self._rip(net)
                evicted = self._net(net, pushing=True)
                if not evicted:
                    raise SystemExit(f"{self.sheet.name}: no way for {net} (turn {turn})")
                queue += [other for other in sorted(self.evicted) if other not in queue]
        if queue:
            raise SystemExit(f"{self.sheet.name}: gave up with {queue}")
        for net in nets:
            for item in self.laid.get(net, []):
                (self.sheet.pads if isinstance(item, Pad) else self.sheet.tracks).append(item)
            self.sheet.links += self.wires.get(net, [])

    def _rip(self, net: str) -> None:
        for item in self.laid.pop(net, []):
            self._stamp(item, self.soft, -1)
        for link in self.wires.pop(net, []):
            self._near(self.body, link.a, link.b, 1.0, -1)

    def _islands(self, net: str) -> list[list[tuple[int, tuple | None]]]:
        """Copper of the net that is joined already: cells, each with the place it stands for."""
        items = self.fixed.get(net, [])
        shapes = [item.shape() for item in items]
        joined = shapely.get_parts(shapely.union_all(shapes))
        group = list(range(len(joined)))
        for link in self.sheet.links:
            if link.net == net:
                a, b = (
                    next(k for k, part in enumerate(joined) if part.intersects(shapely.Point(end)))
                    for end in (link.a, link.b)
                )
                keep, drop = min(group[a], group[b]), max(group[a], group[b])
                group = [keep if k == drop else k for k in group]
        islands: list[list[tuple[int, tuple | None]]] = [[] for _ in joined]
        for item, shape in zip(items, shapes, strict=True):
            home = next(k for k, part in enumerate(joined) if part.intersects(shape))
            islands[group[home]] += self._cells(item)
        return [island for island in islands if island]

    def _cells(self, item: Pad | Track) -> list[tuple[int, tuple | None]]:
        if isinstance(item, Pad):
            i, j = round(item.at[0] / GRID), round(item.at[1] / GRID)
            return [(i * self.ny + j, item.at)]
        cells: list[tuple[int, tuple | None]] = []
        for a, b in zip(item.points, item.points[1:], strict=False):
            steps = max(1, round(max(abs(b[0] - a[0]), abs(b[1] - a[1])) / GRID))
            for k in range(steps + 1):
                i = round((a[0] + (b[0] - a[0]) * k / steps) / GRID)
                j = round((a[1] + (b[1] - a[1]) * k / steps) / GRID)
                cells.append((i * self.ny + j, None))
        return cells

    def _net(self, net: str, pushing: bool) -> bool:
        self.evicted: set[str] = set()
        islands = self._islands(net)
        tree = islands.pop(0)
        while islands:
            spots = [np.array([divmod(c, self.ny) for c, _ in i]) for i in islands]
            own = np.array([divmod(c, self.ny) for c, _ in tree])
            apart = [
                float(np.hypot(*(own[:, None, :] - spot[None]).transpose(2, 0, 1)).min())
                for spot in spots
            ]
            target = islands.pop(apart.index(min(apart)))
            found = self._path(net, tree, target, pushing)
            if found is None:
                self._rip(net)
                return False
            self._lay(net, found, dict(tree) | dict(target), pushing)
            tree = tree + target
            for item in self.laid[net][-len(found) * 3 :]:
                tree += self._cells(item)
        return True

    def _lay(self, net: str, legs: list[list[int]], places: dict, pushing: bool) -> None:
        width = self.sheet.widths.get(net, 1.0)
        laid = self.laid.setdefault(net, [])
        new: list[Pad | Track] = []
        ends: list[tuple[float, float]] = []
        for leg in legs:
            points = [(c // self.ny * GRID, c % self.ny * GRID) for c in leg]
            ends += [points[0], points[-1]]
            for k in (0, -1):
                if places.get(leg[k]) is not None:
                    if len(leg) == 1:
                        points = points * 2
                    points[k] = places[leg[k]]
            points = straightened(points)
            if len(points) > 1:
                new.append(Track(points, width, net))
        for a, b in zip(ends[1:-1:2], ends[2:-1:2], strict=True):
            new += [Pad(at, net, "wire", WIRE_PAD, 1.0, donut=True) for at in (a, b)]
            self.wires.setdefault(net, []).append(Link(a, b, net))
            self._near(self.body, a, b, 1.0, 1)
        if pushing:
            self._evict(net, new)
        for item in new:
            self._stamp(item, self.soft, 1)
        laid += new

    def _evict(self, net: str, new: list[Pad | Track]) -> None:
        shape = shapely.union_all([item.shape() for item in new])
        for other in sorted(self.laid):
            if other != net and any(
                item.shape().distance(shape) < GAP - 0.07 for item in self.laid[other]
            ):
                self._rip(other)
                self.evicted.add(other)
        for item in new:
            for cell, _ in self._cells(item):
                self.past[divmod(cell, self.ny)] += 1.5

    def _path(self, net: str, tree: list, target: list, pushing: bool) -> list[list[int]] | None:
        """Cheapest way from the tree to the target, as legs of cells between wires."""
        width = self.sheet.widths.get(net, 1.0)
        own_hard = {kind: self._zero() for kind in self.kinds}
        own_soft = {kind: self._zero() for kind in self.kinds}
        keep_bored, keep_roomy = self.bored.copy(), self.roomy.copy()
        for item in self.fixed.get(net, []):
            self._stamp(item, own_hard, 1)
        for item in self.laid.get(net, []):
            self._stamp(item, own_soft, 1)
        own_roomy = self.roomy - keep_roomy
        self.bored, self.roomy = keep_bored, keep_roomy
        edge = self.to_edge < width / 2 + EDGE
        hard = (self.hard[width] - own_hard[width] > 0) | edge
        soft = self.soft[width] - own_soft[width] > 0
        cost = 1.0 + 0.7 * (self.roomy - own_roomy > 0) + self.past * soft
        cost = cost + 8.0 * soft if pushing else cost
        hard = hard if pushing else hard | soft
        pad_bad = (
            (self.hard[0.0] - own_hard[0.0] > 0)
            | (self.soft[0.0] - own_soft[0.0] > 0)
            | (self.to_edge < WIRE_PAD / 2 + EDGE)
            | (self.bored > 0)
        )
        ny = self.ny
        for cell, _ in [*tree, *target]:
            hard[divmod(cell, ny)] = False
        blocked, no_pad = hard.tobytes(), pad_bad.tobytes()
        price = cost.ravel().tolist()
        down = np.cumsum(self.body > 0, axis=1).ravel().tolist()
        across = np.cumsum(self.body > 0, axis=0).ravel().tolist()
        goals = {cell for cell, _ in target}
        gi = [c // ny for c in sorted(goals)]
        gj = [c % ny for c in sorted(goals)]
        box = (min(gi), max(gi), min(gj), max(gj))

        def ahead(cell: int) -> float:
            i, j = divmod(cell, ny)
            di = max(box[0] - i, 0, i - box[1])
            dj = max(box[2] - j, 0, j - box[3])
            return GRID * (max(di, dj) + 0.41421356 * min(di, dj))

        best: dict[int, float] = {}
        came: dict[int, tuple[int, int, int]] = {}  # cell: (from, step, moves since a wire)
        heap: list[tuple[float, int]] = []
        for cell in sorted({cell for cell, _ in tree}):
            best[cell] = 0.0
            came[cell] = (-1, 0, 99)
            heap.append((ahead(cell), cell))
        heapq.heapify(heap)
        steps = [(s, 1.0) for s in (1, -1, ny, -ny)]
        steps += [(s, math.sqrt(2)) for s in (ny + 1, ny - 1, 1 - ny, -ny - 1)]
        done: set[int] = set()
        while heap:
            _, cell = heapq.heappop(heap)
            if cell in done:
                continue
            done.add(cell)
            if cell in goals:
                return legs_to(cell, came, ny)
            spent, (_, last, since) = best[cell], came[cell]
            for step, length in steps:
                to = cell + step
                if blocked[to] or to in done:
                    continue
                reach = spent + GRID * length * price[to]
                if last and step != last:
                    reach += BEND_COST
                if reach < best.get(to, math.inf):
                    best[to] = reach
                    came[to] = (cell, step, since + 1)
                    heapq.heappush(heap, (reach + ahead(to), to))
            if no_pad[cell] or since < 5:
                continue
            i, j = divmod(cell, ny)
            for n in WIRE_LENGTHS:
                for ti, tj in ((i, j + n), (i, j - n), (i + n, j), (i - n, j)):
                    if not (0 <= ti < self.nx and 0 <= tj < ny):
                        continue
                    to = ti * ny + tj
                    if no_pad[to] or blocked[to] or to in done:
                        continue
                    count = down if ti == i else across
                    if count[cell] != count[to]:
                        continue
                    reach = spent + WIRE_COST + n * GRID
                    if reach < best.get(to, math.inf):
                        best[to] = reach
                        came[to] = (cell, 0, 0)
                        heapq.heappush(heap, (reach + ahead(to), to))
        return None


def legs_to(cell: int, came: dict[int, tuple[int, int, int]], ny: int) -> list[list[int]]:
    """The way back from a goal, cut where a wire jumps."""
    near = {1, ny, ny + 1, ny - 1}
    legs, leg = [], [cell]
    while came[cell][0] >= 0:
        before = came[cell][0]
        if abs(before - cell) not in near:
            legs.append(leg[::-1])
            leg = []
        leg.append(before)
        cell = before
    legs.append(leg[::-1])
    return legs[::-1]


def straightened(points: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The same line without needless vertices."""
    kept: list[tuple[float, float]] = []
    for point in points:
        if kept and math.dist(kept[-1], point) < 1e-9:
            continue
        if len(kept) > 1:
            (ax, ay), (bx, by) = kept[-2], kept[-1]
            cross = (bx - ax) * (point[1] - by) - (by - ay) * (point[0] - bx)
            ahead = (bx - ax) * (point[0] - bx) + (by - ay) * (point[1] - by)
            if abs(cross) < 1e-9 and ahead > 0:
                kept.pop()
        kept.append(point)
    return kept
