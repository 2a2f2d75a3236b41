"""Three small circuits with copper and netlists, all invented, and ways to spoil them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import shapely

from millprep.geometry.path import Point
from millprep.model.board import Board, CopperPiece, Hole, NetPoint


@dataclass(frozen=True, slots=True)
class Pin:
    """A round pad of 2 mm with a hole of 1 mm, or none."""

    net: str
    part: str
    pin: str
    at: Point
    drilled: bool = True


@dataclass(frozen=True, slots=True)
class Circuit:
    """Pins, tracks between places, and jumper wires; drawn may be another than was meant."""

    name: str
    pins: tuple[Pin, ...]
    tracks: tuple[tuple[Point, Point], ...]
    wires: tuple[tuple[Point, Point], ...] = ()

    @property
    def points(self) -> tuple[NetPoint, ...]:
        """The netlist of the circuit."""
        return tuple(NetPoint(p.net, p.at, p.part, p.pin, True) for p in self.pins)

    @property
    def csv(self) -> str:
        """The netlist as a file."""
        rows = (f"{p.net},{p.at[0]},{p.at[1]},{p.part},{p.pin},1.0" for p in self.pins)
        return "\n".join(("net,x,y,part,pin,hole", *rows)) + "\n"

    def board(self, points: tuple[NetPoint, ...] | None = None) -> Board:
        """The copper as drawn, with a netlist: its own unless another is given."""
        pads = [shapely.Point(pin.at).buffer(1.0) for pin in self.pins]
        tracks = [shapely.LineString(track).buffer(0.4) for track in self.tracks]
        areas = shapely.get_parts(shapely.union_all([*pads, *tracks])).tolist()
        areas.sort(key=lambda area: area.bounds)
        pieces = tuple(CopperPiece(f"c{n}", area) for n, area in enumerate(areas, 1))
        drilled = [pin for pin in self.pins if pin.drilled]
        holes = tuple(
            Hole(f"h{n}", pin.at, 1.0, next(p.id for p in pieces if p.shape.covers(_at(pin))))
            for n, pin in enumerate(drilled, 1)
        )
        edge = shapely.box(*shapely.union_all(areas).buffer(3.0).bounds)
        given = self.points if points is None else points
        return Board(self.name, edge, pieces, holes, points=given)

    def less_track(self, n: int) -> Circuit:
        """Without one track."""
        return replace(self, tracks=(*self.tracks[:n], *self.tracks[n + 1 :]))

    def more_track(self, start: Point, end: Point) -> Circuit:
        """With one track more."""
        return replace(self, tracks=(*self.tracks, (start, end)))

    def changed_pin(self, part: str, pin: str, **change: object) -> Circuit:
        """With one pin otherwise."""
        pins = (
            replace(p, **change) if (p.part, p.pin) == (part, pin) else p  # type: ignore[arg-type]
            for p in self.pins
        )
        return replace(self, pins=tuple(pins))


def _at(pin: Pin) -> shapely.Point:
    return shapely.Point(pin.at)


DIVIDER = Circuit(
    "divider",
    (
        Pin("B+", "J1", "1", (0.0, 0.0)), Pin("B+", "R1", "1", (10.0, 0.0)),
        Pin("TAP", "R1", "2", (10.0, 10.0)), Pin("TAP", "R2", "1", (20.0, 10.0)),
        Pin("0V", "R2", "2", (20.0, 0.0)), Pin("0V", "J1", "2", (0.0, -5.0)),
    ),
    (
        ((0.0, 0.0), (10.0, 0.0)), ((10.0, 10.0), (20.0, 10.0)),
        ((20.0, 0.0), (20.0, -5.0)), ((20.0, -5.0), (0.0, -5.0)),
    ),
)  # fmt: skip
HEATERS = Circuit(
    "heaters",
    (
        Pin("H1", "T1", "a", (0.0, 0.0)), Pin("H1", "V1", "3", (15.0, 0.0)),
        Pin("H1", "V2", "3", (35.0, 0.0)),
        Pin("H2", "T1", "b", (0.0, 8.0)), Pin("H2", "V1", "4", (15.0, 8.0)),
        Pin("H2", "V2", "4", (35.0, 8.0)),
        Pin("ANODE", "V1", "5", (22.0, 4.0)), Pin("ANODE", "V2", "5", (41.0, 4.0)),
    ),
    (
        ((0.0, 0.0), (15.0, 0.0)), ((15.0, 0.0), (35.0, 0.0)),
        ((0.0, 8.0), (15.0, 8.0)), ((15.0, 8.0), (35.0, 8.0)),
    ),
    (((22.0, 4.0), (41.0, 4.0)),),
)  # fmt: skip
LATCH = Circuit(
    "latch",
    (
        Pin("SET", "K1", "1", (2.0, 2.0)), Pin("SET", "D1", "a", (12.0, 2.0)),
        Pin("SET", "S1", "1", (21.0, 3.0)),
        Pin("Q", "K1", "2", (2.0, 12.0)), Pin("Q", "R4", "1", (12.0, 12.0)),
        Pin("Q", "LD1", "k", (12.0, 19.0)),
        Pin("GND", "R4", "2", (21.0, 12.0)), Pin("GND", "S1", "2", (27.0, 3.0)),
    ),
    (
        ((2.0, 2.0), (12.0, 2.0)), ((12.0, 2.0), (21.0, 3.0)),
        ((2.0, 12.0), (12.0, 12.0)), ((12.0, 12.0), (12.0, 19.0)),
        ((21.0, 12.0), (27.0, 3.0)),
    ),
)  # fmt: skip
