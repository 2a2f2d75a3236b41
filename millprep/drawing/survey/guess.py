"""Which layers play which role: settled by geometry, never by names."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import shapely

from millprep.drawing import doubts
from millprep.drawing.marks.mark import Stroke
from millprep.drawing.marks.neighbours import crossings
from millprep.drawing.survey.candidates import (
    Candidate,
    copper_readings,
)
from millprep.drawing.survey.edges_and_holes import LARGEST_BORE, hole_reading, outline_reading
from millprep.drawing.survey.layer_facts import LayerFacts, joined
from millprep.model.finding import many
from millprep.model.job.layers import CopperMode, LayerRoles

SAME_SIZE = 0.01
"""Holes whose diameters differ by less than this share are the same, drawn twice."""
NO_EDGE = "no layer draws the board's edge: state its size, or a margin around the copper"


@dataclass(slots=True)
class Guess:
    """Roles as far as geometry settles them.

    Attributes:
        roles: a role without a layer is not settled; None when copper is not.
        edge: the layer that draws the board's edge, where there is just one.
        candidates: for every layer what it may be, the likeliest first.
        doubts: what is not settled, and what would settle it.
        needs_mode, needs_width: copper layers whose mode, or width, the job has to say.
        close_gaps: gaps to close in the outline that the roles name, working unit; 0 for none.
        mixed: why the only layer cannot be read as copper; "" where it can.
    """

    roles: LayerRoles | None = None
    edge: tuple[str, ...] = ()
    candidates: dict[str, list[Candidate]] = field(default_factory=dict)
    doubts: list[str] = field(default_factory=list)
    needs_mode: list[str] = field(default_factory=list)
    needs_width: list[str] = field(default_factory=list)
    close_gaps: float = 0.0
    mixed: str = ""


def guess(layers: Sequence[LayerFacts], *, in_mm: bool) -> Guess:
    """Roles, candidates and doubts; `in_mm` says that the unit is known and applied."""
    out = Guess()
    drawn = [la for la in layers if la.box is not None]
    everything = joined([la.box for la in drawn])
    edges: list[tuple[LayerFacts, Candidate]] = []
    bores: list[LayerFacts] = []
    coppers: list[tuple[LayerFacts, list[Candidate]]] = []
    rest: list[tuple[LayerFacts, list[Candidate]]] = []
    # circles around circles: pads with their holes, or holes drawn with their pads
    either: list[tuple[LayerFacts, list[Candidate]]] = []
    for layer in drawn:
        mine = out.candidates.setdefault(layer.name, [])
        edge = outline_reading(layer) if layer.spans(everything) else None
        bore = hole_reading(layer)
        if bore is not None and in_mm and any(d > LARGEST_BORE for d, _ in bore.drills):
            bore = None
        # straight lines with a width are slots to a hole layer, but tracks rather than slots
        tracks = any(isinstance(mark, Stroke) and mark.widths.any() and not mark.closed
                     and len(mark.vertices) > 1 for mark in layer.marks)  # fmt: skip
        if edge is not None and (edge.pieces is not None or bore is None):
            mine.append(edge)
        if edge is not None and edge.pieces is not None:
            edges.append((layer, edge))
            rest.append((layer, mine))
            continue
        if bore is not None and not tracks and not bore.ringed:
            mine.append(bore)
            bores.append(layer)
            rest.append((layer, mine))
            continue
        # a single line around everything else is an edge, even with a gap
        bare = edge is not None and len(drawn) > 1 and layer.is_ring
        readings = [] if bare else _copper(layer)
        mine += readings
        if bore is not None:
            mine.append(bore)
        if bore is not None and bore.ringed and not tracks:
            either.append((layer, readings))
            continue
        several = edge is not None and not layer.wide and layer.deepest < 2 and len(drawn) > 1
        if readings:
            (rest if several else coppers).append((layer, readings))
            hopeless = edge is not None and {code for code, _ in edge.refused} - {"outline-open"}
            if (
                edge is not None
                and hopeless
                and any(reading.reads for reading in readings)
                and not several
            ):
                mine.remove(edge)
    coppers = _likely(coppers, rest)
    firm = any(reading.reads for _, readings in coppers for reading in readings)
    for layer in _pads(out, bores) if firm else bores[:]:
        # circles that may be pads: around the holes of another layer, or next to bare lines
        if coppers and (firm or len(bores) > 1):
            readings = copper_readings(layer)
            out.candidates[layer.name] += readings
            if firm:
                bores.remove(layer)
                coppers.append((layer, readings))
    if coppers or not bores:
        coppers += either
    _settle(out, edges, coppers, bores)
    if len(drawn) == 1 and (out.needs_mode or (not coppers and not out.edge)):
        words = _mixed(drawn[0])
        if out.needs_mode and not any(reading.reads for reading in coppers[0][1]):
            out.mixed = words
        out.doubts.append(words)
    return out


def _pads(out: Guess, bores: Sequence[LayerFacts]) -> list[LayerFacts]:
    """Layers of circles most of which lie around a smaller hole of another layer."""
    every = {
        layer.name: [b for c in out.candidates[layer.name] if c.role == "holes" for b in c.bores]
        for layer in bores
    }
    pads = []
    for layer in bores:
        mine = every[layer.name]
        others = [bore for name, some in every.items() if name != layer.name for bore in some]
        tree = shapely.STRtree([shapely.Point(bore.at) for bore in others])
        around = 0
        for bore in mine:
            near = tree.query(
                shapely.Point(bore.at), predicate="dwithin", distance=doubts.CONCENTRIC
            )
            around += any(others[k].diameter < bore.diameter for k in near.tolist())
        if 2 * around > len(mine):
            pads.append(layer)
    return pads


def _copper(layer: LayerFacts) -> list[Candidate]:
    """The readings as copper, where there is any sign of it."""
    bold = layer.wide or layer.fills
    if not bold and not layer.loose and len(layer.loops) < 2:
        return []
    return copper_readings(layer)


def _likely(
    coppers: list[tuple[LayerFacts, list[Candidate]]],
    rest: list[tuple[LayerFacts, list[Candidate]]],
) -> list[tuple[LayerFacts, list[Candidate]]]:
    """Layers that are copper rather than anything else.

    Bare lines are copper only where nothing better is. Without any copper the readings of
    what is edge or holes already are listed too, for a person to choose from.
    """
    firm = [copper for copper in coppers if any(c.reads for c in copper[1])]
    bold = [
        copper for copper in coppers if copper not in firm and (copper[0].wide or copper[0].fills)
    ]
    if coppers:
        return [*firm, *bold] or coppers
    for layer, mine in rest:
        known = {(c.role, c.modes) for c in mine}
        if len(layer.loops) > 1 or not any(c.role == "outline" for c in mine):
            mine += [c for c in copper_readings(layer) if (c.role, c.modes) not in known]
    return []


def _settle(
    out: Guess,
    edges: list[tuple[LayerFacts, Candidate]],
    coppers: list[tuple[LayerFacts, list[Candidate]]],
    bores: list[LayerFacts],
) -> None:
    if len(edges) == 1:
        out.edge = (edges[0][0].name,)
        out.close_gaps = edges[0][1].close_gaps or 0.0
    if len(coppers) != 1:
        out.doubts.append(
            f"{len(coppers)} layers may be copper: name yours"
            if coppers
            else "no layer holds wide lines, filled areas or sets of outlines"
        )
        if bores and not coppers:
            out.doubts.append(
                f"{many(len(bores), 'layer')} with nothing but circles or slots: they may be pads "
                "or holes, name them"
            )
        return
    layer, readings = coppers[0]
    if not out.edge:
        out.doubts.append(
            f"{len(edges)} layers hold a closed line that encloses everything else: name one"
            if edges
            else NO_EDGE
        )
    if out.close_gaps:
        out.doubts.append(
            f"the outline on layer {out.edge[0]!r} is open in "
            f"{many(len(edges[0][1].gaps), 'place')}: "
            "close them in the drawing, or let the job close gaps of that size"
        )
    taken = readings[0]
    drilled = tuple(bore.name for bore in bores)
    if len(bores) > 1 and not taken.reads:
        drilled = ()  # some of them may be pads
    if not drilled and any(reading.own_holes for reading in readings):
        drilled = (layer.name,)
    if not drilled and bores:
        out.doubts.append(
            f"{len(bores)} layers hold only circles: pads or holes, name those of the holes"
        )
    elif not drilled:
        out.doubts.append("no layer holds only circles: the board's holes are elsewhere or none")
    elif len(drilled) > 1:
        out.doubts.append(f"{len(drilled)} layers hold only circles: all are taken for holes")
    if layer.name not in drilled and (count := holes_in_pads(out.candidates, layer.name, drilled)):
        drilled += (layer.name,)
        out.doubts.append(
            f"layer {layer.name!r} has {many(count, 'circle')} in its pads where no other layer "
            "has a hole: they are taken for holes too"
        )
    modes: tuple[tuple[str, CopperMode], ...] = ()
    if taken.reads:
        modes = tuple((layer.name, m) for m in taken.modes if m.endswith("outlines"))
    elif not (layer.loops or layer.wide or layer.fills):
        out.needs_width.append(layer.name)
        out.doubts.append(f"layer {layer.name!r}: {readings[-1].reason}; give their width")
    else:
        some = sum(reading.reads for reading in readings)
        out.needs_mode.append(layer.name)
        out.doubts.append(
            f"layer {layer.name!r} as copper admits more than one reading, "
            f"{many(some, 'reading')} of those tried can go on: say which is meant"
            if some
            else f"layer {layer.name!r}: no reading of it as copper can go on"
        )
    out.roles = LayerRoles((layer.name,), out.edge, drilled, copper_modes=modes)


def holes_in_pads(
    candidates: Mapping[str, Sequence[Candidate]], copper: str, holes: Sequence[str]
) -> int:
    """How many circles in the pads of a layer are holes that no layer of holes has.

    None are where a layer of holes has another size at the place of one of them: then it is not
    clear which counts.
    """
    own = next((c.bores for c in candidates[copper] if c.own_holes), ())
    made = [b for name in holes for c in candidates[name] if c.role == "holes" for b in c.bores]
    if not made:
        return 0
    tree = shapely.STRtree([shapely.Point(bore.at) for bore in made])
    missing = 0
    for bore in own:
        near = tree.query(
            shapely.Point(bore.at), predicate="dwithin", distance=doubts.CONCENTRIC
        ).tolist()
        if any(abs(made[k].diameter - bore.diameter) > SAME_SIZE * bore.diameter for k in near):
            return 0
        missing += not near
    return missing


def _mixed(layer: LayerFacts) -> str:
    """What is known of a layer that holds everything, and what parts it."""
    shapes = layer.distinctions["shape"]
    crossed = crossings([run.points for run in layer.opened]) if not layer.wide else []
    words = (
        f'Layer "{layer.name}" holds everything that is drawn: {many(shapes["open"], "open line")} '
        f"and {many(shapes['closed'], 'closed shape')}. "
    )
    if crossed:
        x, y = crossed[0]
        words += (
            f"{many(len(crossed), 'pair')} of open lines cross each other, the first at ({x:.3f}, "
            f"{y:.3f}), so they cannot all be tracks of one side. "
        )
    ways = [
        key.replace("_", "-")
        for key in ("colour", "line_type", "block")
        if len(layer.distinctions[key]) > (key != "block")
    ]
    if ways:
        options = " or ".join(f"`millprep new --split {way}`" for way in ways)
        what = " and ".join(ways).replace("-", " ")
        return words + f"Its shapes differ in {what}: {options} makes a layer of each"
    return words + (
        "Its shapes differ in no colour, line type or block, so the drawing does not say what "
        "is copper, edge, hole or print: export these on layers of their own, or as Gerber and "
        "drill files. Where closed lines alone are copper, `millprep new --split shape` takes "
        "them, and `--split edge` the line around everything"
    )
