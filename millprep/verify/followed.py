"""Programs over a surface map: every cut stays on the map, and on its surface."""

from __future__ import annotations

from collections.abc import Iterator

from millprep.model.finding import Finding
from millprep.verify.over_copper import FOLLOWED
from millprep.verify.setting import Setting


def follow_rule(s: Setting) -> Iterator[Finding]:
    """No cut leaves the map, nor the surface between a move's ends."""
    if s.over is None:
        return
    yield from s.each(
        s.over.lost,
        "map-left",
        "the cutter goes down where the surface map tells nothing. Probe there as well.",
    )
    yield from s.each(
        (s.over.off > FOLLOWED + s.machine.dialect.digit) & ~s.over.lost,
        "map-not-followed",
        f"the move leaves the surface map by more than {FOLLOWED:g} mm between its ends.",
    )
