"""What the review page says of nets: volts, amperes, distances; and its figures."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from millprep.geometry.path import Point
from millprep.model.finding import Finding
from millprep.model.judged import BoardJudged
from millprep.model.set_of_programs import CutSet
from millprep.report.compact import SHAPE_UNIT, texts, whole
from millprep.report.words import plain

SPACING = ("spacing-too-narrow", "spacing-to-metal")
"""Findings about two nets that are too near."""
DIGITS = 4
"""Decimals of figures that are not packed."""


def net_facts(judged: BoardJudged | None) -> list[dict[str, Any]]:
    """Volts and amperes of every net that the job names."""
    return [
        {
            "net": plain(net.name, 60),
            "volts": None if net.volts is None else [figure(v) for v in net.volts],
            "amperes": figure(max(net.amperes, sum(max(load.amperes, 0.0) for load in net.loads))),
        }
        for net in (row.net for row in (() if judged is None else judged.nets))
    ]


def spacings(judged: BoardJudged | None) -> dict[str, Any]:
    """Every pair of neighbours with volts.

    `names` are those of nets and of metal, `pairs` rows of two indices, V, required and measured
    mm, and `ways`, for each pair, both ends of every gap on its way, in whole units of a shape.
    """
    pairs = () if judged is None else judged.spacings
    names = list(dict.fromkeys(name for pair in pairs for name in (pair.net, pair.other)))
    index = {name: n for n, name in enumerate(names)}
    ways = [np.ravel(pair.way or ((pair.at, pair.at),)) for pair in pairs]
    return {
        "names": [plain(name, 60) for name in names],
        "pairs": [
            [index[pair.net], index[pair.other], *map(figure, (pair.volts, pair.required)),
             figure(pair.measured)]
            for pair in pairs
        ],
        "ways": texts(whole(np.concatenate([[], *ways]), SHAPE_UNIT), list(map(len, ways))),
    }  # fmt: skip


def pair_of(cut_set: CutSet, finding: Finding) -> list[Any] | None:
    """Copy, net and other net of the pair that a finding on spacing is about; None for others."""
    for copy in cut_set.copies if finding.code in SPACING else ():
        known = copy.placement.board.name, copy.placement.copy
        for pair in (
            copy.judged.spacings if copy.judged and known == (finding.board, finding.copy) else ()
        ):
            between = re.escape(f"between {pair.net} and {pair.other}")
            if pair.at == finding.at and re.search(f"{between}[,;]", finding.message):
                return [copy.placement.index, plain(pair.net, 60), plain(pair.other, 60)]
    return None


def figure(value: float | None) -> float | None:
    """A figure with `DIGITS` decimals; None for none and for what is not finite."""
    return None if value is None or not np.isfinite(value) else round(float(value), DIGITS) + 0.0


def point(at: Point | None) -> list[float | None] | None:
    """Both coordinates of a place."""
    return None if at is None else [figure(v) for v in at]
