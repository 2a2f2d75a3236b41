"""How fast a program goes: every feed is the one that the job gives its cutter, no other.

Along a path in the work it is the cutter's feed, straight down its plunge. On a ramp it lies
between the two, and no part of it that leads down is faster than the plunge.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from millprep.model.finding import NOT_RUN, Finding
from millprep.model.job.job import JobPlan
from millprep.model.program import Program
from millprep.verify.motion_context import SLACK, Mask, Table, table
from millprep.verify.opening import LOOK_FEED, SLOW_FEED
from millprep.verify.trace import Trace, look_at_zero

SLOWED = 0.97
"""Over uneven copper a ramp may be slower by this factor: digits are rounded after."""


def check_feeds(trace: Trace, program: Program, job: JobPlan, *, uneven: bool) -> Iterator[Finding]:
    """Feeds that are not the job's.

    Args:
        trace: as over flat copper.
        program: what runs.
        job: what is required.
        uneven: whether the file follows copper that is not flat.
    """
    m = table(trace)
    feed = ~m.rapid
    machine, cutter = job.machine, program.cutter
    along, plunge = min(cutter.feed, machine.max_feed), min(cutter.plunge, machine.max_plunge)
    slack = machine.dialect.digit / 2 + SLACK
    still = (m.across <= SLACK) & ~m.arc
    cuts_nothing = program.work in ("dry-run", "probe")
    slowest = min(along, plunge)
    if program.work == "probe":
        slowest = min(slowest, job.registration.probe_feed)
    if uneven:
        slowest *= SLOWED
    least = np.full(len(m), min(slowest, SLOW_FEED) if cuts_nothing else slowest)
    look = look_at_zero(trace)
    if look is not None:
        least[look.first : look.last + 1] = min(slowest, SLOW_FEED)
    yield from _each(
        m, program, feed & (m.feed < least - slack), "feed-too-slow",
        f"the feed is lower than any that the job gives {cutter.name}; the lowest is "
        f"{slowest:g} mm/min.",
    )  # fmt: skip
    if cuts_nothing:
        fastest = min(LOOK_FEED, machine.max_feed)
        fast = feed & (m.feed > fastest + slack)
        words = f"the feed is above the {fastest:g} mm/min of a program that cuts nothing."
        yield from _each(m, program, fast, "feed-above-job", words)
        return
    work = feed & (m.bottom < -SLACK)
    fast = work & ~still & (m.feed > along + slack)
    words = (
        f"the cutter goes along faster than the {along:g} mm/min that the job gives {cutter.name}."
    )
    yield from _each(m, program, fast, "feed-above-job", words)
    fall = m.start[:, 2] - m.end[:, 2]
    level = work & ~still & (np.abs(fall) <= SLACK) & ~np.isnan(fall)
    slowest = along * (SLOWED if uneven else 1.0)
    words = (
        f"the cutter goes along slower than the {along:g} mm/min that the job gives {cutter.name}."
    )
    slow = level & (m.feed < slowest - slack) & ~_slowed_down(m, slowest, plunge, uneven=uneven)
    yield from _each(m, program, slow, "feed-too-slow", words)
    # both ends of a fall are rounded to the last digit
    steep = np.maximum(fall - machine.dialect.digit, 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        down = np.where(still, m.feed, m.feed * steep / m.length)
    words = (
        f"the cutter goes down faster than the {plunge:g} mm/min that the job gives {cutter.name}."
    )
    fast = work & (fall > SLACK) & (down > plunge * (1 + 1e-6) + slack)
    yield from _each(m, program, fast, "plunge-above-job", words)


def _slowed_down(m: Table, least: float, plunge: float, *, uneven: bool) -> Mask:
    """Level cuts that may be slower than their feed: where the copper itself falls steeply."""
    none = np.zeros(len(m), dtype=bool)
    return (m.feed >= plunge * SLOWED) if uneven and least > plunge else none


def _each(m: Table, program: Program, bad: Mask, code: str, message: str) -> Iterator[Finding]:
    for move in np.flatnonzero(bad).tolist():
        yield Finding(
            code=code,
            severity="stop",
            message=f"{message} {NOT_RUN}",
            blank=program.blank,
            mill_pass=program.mill_pass or None,
            file=program.file,
            line=int(m.line[move]),
        )
