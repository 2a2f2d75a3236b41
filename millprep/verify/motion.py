"""What a program may do on the machine: each rule looks at all moves and names the lines.

Every rule is a function of the context that yields findings. `EVERY` looks at the machine;
`CUTTING`, `PROBING` and `TOUCHING` look at the work, and over uneven copper they judge the program
as over flat copper. A place that no word has given yet may be anywhere in the machine's travel.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

import numpy as np
import shapely

from millprep.model.blank import Blank, Clamp
from millprep.model.cutter import Cutter, Drill
from millprep.model.finding import Finding, limited
from millprep.model.machine import Machine
from millprep.model.milling_pass import MillingPass
from millprep.model.surface_map import SurfaceMap
from millprep.verify.motion_context import SLACK, Mask, Setting, table
from millprep.verify.obstacles import clamp_rule, hops, pin_rule
from millprep.verify.opening import look_rule, path_rule, spindle_rules
from millprep.verify.over_copper import FOLLOWED, OverFlatCopper, over_flat_copper
from millprep.verify.probing import no_probe_rule, probe_rule, surface_probe_rule
from millprep.verify.trace import Trace

ABOVE_COPPER = 0.5
"""Rapids clear the highest copper by this, mm."""
SHORTEST_ARC = 0.001
"""An arc whose ends are nearer than this, mm, but not the same may be read as a full turn."""
Rule = Callable[[Setting], Iterator[Finding]]
PROBING: tuple[Rule, ...] = (probe_rule,)
TOUCHING: tuple[Rule, ...] = (surface_probe_rule,)


def check(
    trace: Trace,
    *,
    cutter: Cutter,
    machine: Machine,
    clamps: Sequence[Clamp],
    mill_pass: MillingPass,
    blank: Blank,
    spoilboard: float,
    file: str,
    pins: bool = True,
    at: tuple[float, float] | None = None,
    flatness: float = 0.0,
    probing: bool = False,
    touching: shapely.Geometry | None = None,
    surface: SurfaceMap | None = None,
) -> tuple[Finding, ...]:
    """Every rule of motion that a program breaks, by file and line.

    `clamps` are in machine coordinates, without those of other passes. `spoilboard` is the
    thickness of the board beneath the blank. `pins` says whether pins are in the holes this pass
    is found by; False for the program that bores the spoilboard for them. `at` is where the
    machine is in x and y before it, None for anywhere. `flatness` is how far the copper may lie
    above Z0, or above the surface map, mm.
    `probing` says that the program is to touch holes from within and to cut nothing; `touching`
    that it is to touch copper from above, and which, machine frame. Over a `surface` depths are
    judged from the copper there, and everything else keeps off its highest place.
    """
    over = None if surface is None else over_flat_copper(trace, surface, machine.clearance)
    highest = 0.0 if surface is None else max(surface.highest, 0.0)
    setting = Setting(
        trace=trace,
        moves=table(trace),
        cutter=cutter,
        machine=machine,
        # a clamp is on copper that may lie higher than zero
        clamps=tuple(
            replace(clamp, height=clamp.height + highest)
            for clamp in clamps
            if clamp.on_in(mill_pass.number)
        ),
        mill_pass=mill_pass,
        blank=blank,
        spoilboard=spoilboard,
        pins=pins,
        at=at,
        file=file,
        touching=touching,
        highest=highest,
        approach=highest + flatness + machine.approach,
        hop=highest + flatness + max(machine.hop_height, machine.approach),
        over=over,
    )
    findings = [finding for rule in EVERY for finding in rule(setting)]
    if over is not None:
        findings += _off_the_map(setting, over)
        setting = replace(setting, trace=over.trace, moves=table(over.trace))
    rules = TOUCHING if touching is not None else PROBING if probing else CUTTING
    findings += [finding for rule in (_depths, *rules) for finding in rule(setting)]
    return limited(sorted(findings, key=lambda finding: finding.line or 0))


def _said(s: Setting) -> Iterator[Finding]:
    """The program says all it relies on, and nothing hangs on a switch of the machine."""
    for word in s.trace.assumed:
        yield Finding(
            code="state-assumed",
            severity="warn",
            message=f"the program relies on {word} without setting it. Set it at the start.",
            file=s.file,
            line=1,
        )
    for line in s.trace.deletable:
        yield Finding(
            code="block-delete",
            severity="stop",
            message="whether this line runs depends on the block delete switch of the machine.",
            file=s.file,
            line=line,
        )


def _first_move(s: Setting) -> Iterator[Finding]:
    """The first move goes straight up to the top of the free travel."""
    if not len(s.moves):
        return
    first = s.trace.moves[0]
    only_z = np.isnan(first.end[:2]).all()
    if first.kind != "rapid" or not only_z or not first.end[2] >= s.machine.top - SLACK:
        message = (
            f"the first move must be G0 straight up to Z{s.machine.top:g}, the top of the free "
            "travel: from an unknown height any other could go down."
        )
        yield s.finding("first-move", message, 0)


def _rapids(s: Setting) -> Iterator[Finding]:
    """Rapids run across at or above clearance, or as hops; then down to the approach height."""
    m = s.moves
    required = s.machine.clearance
    if s.over is not None:
        required = max(required, s.highest + ABOVE_COPPER)
    clearance = required - SLACK
    straight = m.across <= SLACK
    rapid = m.rapid.copy()
    # the first move is another rule's
    rapid[:1] = False
    rising = straight & ~(m.end[:, 2] < m.start[:, 2] - SLACK)
    # travel has led to this place, and only then it goes down
    above = m.start[:, 2] >= min(clearance, s.hop - SLACK)
    down = straight & above & (m.end[:, 2] >= s.approach - SLACK)
    low = rapid & (m.bottom < clearance) & ~rising & ~down
    yield from s.each(
        low & straight & ~_pecked(s),
        "rapid-plunge",
        f"a rapid goes down below the approach height of {s.approach:.4g} mm, or not from "
        "the height of travel. Use G1.",
    )
    yield from s.each(
        low & ~straight & ~hops(s),
        "rapid-low",
        f"a rapid runs below the clearance of {required:g} mm, and is no hop: between two cuts, at "
        f"{s.hop:.4g} mm or above, off all pins. Go up first.",
    )
    yield from s.each(
        np.isnan(m.start[:, 2]) & rapid & ~straight,
        "rapid-low",
        "a rapid starts at an unknown height. Go up first, alone.",
    )


def _pecked(s: Setting) -> Mask:
    """Rapids of a drilling cycle into a hole that it drilled at least that deep just before."""
    m = s.moves
    free = np.zeros(len(m), dtype=bool)
    if not s.trace.cycles:
        return free
    across, z, floor = m.across.tolist(), m.end[:, 2].tolist(), np.inf
    for i, rapid in enumerate(m.rapid.tolist()):
        if not across[i] <= SLACK:
            floor = np.inf
        elif rapid:
            free[i] = z[i] >= floor
        else:
            floor = min(floor, z[i])
    return free & np.isin(m.line, s.trace.cycles)


def _feeds(s: Setting) -> Iterator[Finding]:
    """Feeds stay within the machine's limits, and downward within its plunge limit."""
    m = s.moves
    # of rapids the feed is nan
    yield from s.each(
        m.feed > s.machine.max_feed + SLACK,
        "feed-too-fast",
        f"the feed is above the machine's {s.machine.max_feed:g} mm/min.",
    )
    down = m.start[:, 2] - m.end[:, 2]
    fast = m.feed * down > (s.machine.max_plunge + SLACK) * m.length
    yield from s.each(
        fast & (m.bottom < s.highest),
        "plunge-too-fast",
        f"the cutter goes down faster than the machine's {s.machine.max_plunge:g} mm/min.",
    )


def _travel(s: Setting) -> Iterator[Finding]:
    """Everything lies where the machine can go, and keeps a margin to the ends of the travel."""
    m, t, margin = s.moves, s.machine.travel, s.machine.travel_margin
    x0, x1, y0, y1 = t.x0 + margin, t.x1 - margin, t.y0 + margin, t.y1 - margin
    out = (m.low[:, 0] < x0 - SLACK) | (m.high[:, 0] > x1 + SLACK)
    out |= (m.low[:, 1] < y0 - SLACK) | (m.high[:, 1] > y1 + SLACK)
    less = f" (travel_margin is {margin:g} mm)" if margin else ""
    yield from s.each(
        out,
        "outside-travel",
        f"the move leaves what the machine reaches, X{x0:g} to {x1:g}, Y{y0:g} to {y1:g}{less}.",
    )
    top, floor = s.machine.above - margin, margin - s.machine.below
    up = m.high[:, 2] > top + SLACK
    yield from s.each(up, "outside-travel", f"the move goes above Z{top:g}{less}.")
    down = m.bottom < floor - SLACK
    yield from s.each(down, "outside-travel", f"the move goes below Z{floor:g}{less}.")


def _depths(s: Setting) -> Iterator[Finding]:
    """The tip stays in the spoilboard, the flute reaches the surface, the nut stays above it."""
    depth = -s.moves.bottom
    below = s.blank.thickness + s.spoilboard
    for limit, code, message in (
        (below, "too-deep", f"the tip goes below the spoilboard, {below:g} mm under the surface."),
        (
            s.cutter.flute,
            "flute-too-short",
            f"the cut is deeper than the flute of {s.cutter.name}, {s.cutter.flute:g} mm.",
        ),
        (
            s.cutter.stickout,
            "collet-low",
            f"the collet nut hits the blank: {s.cutter.name} sticks out {s.cutter.stickout:g} mm.",
        ),
    ):
        yield from s.each(depth > limit + SLACK, code, message)


def _on_blank(s: Setting) -> Iterator[Finding]:
    """The cutter's axis stays on the blank while it cuts, at places that are known."""
    m = s.moves
    # Going up is how a fault ends; the finding names the move that led there.
    rising = (m.across <= SLACK) & (m.end[:, 2] > m.start[:, 2])
    below = (m.bottom < -SLACK) & ~rising
    lost = below & (np.isnan(m.start).any(axis=1) | np.isnan(m.end).any(axis=1))
    yield from s.each(lost, "place-unknown", "the cutter is in the work at an unknown place.")
    # in the blank's frame a move's box reaches so far from its middle along both axes
    back = s.mill_pass.pose.inverse()
    middle, half = (m.low + m.high)[:, :2] / 2, (m.high - m.low)[:, :2] / 2
    at, reach = back.points(middle), half @ np.abs(((back.a, back.d), (back.b, back.e)))
    off = (at - reach < -SLACK) | (at + reach > np.array(s.blank.size) + SLACK)
    yield from s.each(
        below & ~lost & off.any(axis=1), "off-blank", "the cutter works off the blank."
    )


def _drilling(s: Setting) -> Iterator[Finding]:
    """A drill moves only up and down while it is in the work."""
    if isinstance(s.cutter, Drill):
        sideways = (s.moves.bottom < -SLACK) & ((s.moves.across > SLACK) | s.moves.arc)
        yield from s.each(sideways, "drill-sideways", "a drill moves sideways in the work.")


def _short_arcs(s: Setting) -> Iterator[Finding]:
    """No arc is so short that a controller may take it for a full turn."""
    m = s.moves
    short = m.arc & (m.across > 0) & (m.across < SHORTEST_ARC)
    yield from s.each(
        short,
        "arc-too-short",
        "the arc's ends nearly meet: some controllers would run a full circle. Use G1.",
    )


def _end(s: Setting) -> Iterator[Finding]:
    """The program ends at the top of the free travel, where the cutter can be changed."""
    if len(s.moves) and not s.moves.end[-1, 2] >= s.machine.top - SLACK:
        message = f"the program ends below Z{s.machine.top:g}. Go up before the end."
        yield s.finding("ends-low", message, len(s.moves) - 1)


EVERY: tuple[Rule, ...] = (
    _said,
    path_rule,
    _first_move,
    look_rule,
    _rapids,
    clamp_rule,
    _feeds,
    _travel,
    _short_arcs,
    _end,
)
CUTTING: tuple[Rule, ...] = (
    pin_rule,
    _on_blank,
    _drilling,
    no_probe_rule,
    lambda s: spindle_rules(s.trace, s.machine, file=s.file),
)


def _off_the_map(s: Setting, over: OverFlatCopper) -> Iterator[Finding]:
    """No cut leaves the map, nor the surface between a move's ends."""
    yield from s.each(
        over.lost,
        "map-left",
        "the cutter goes down where the surface map has no heights. Probe there as well.",
    )
    yield from s.each(
        (over.off > FOLLOWED + s.machine.dialect.digit) & ~over.lost,
        "map-not-followed",
        f"the move leaves the surface map by more than {FOLLOWED:g} mm between its ends.",
    )
