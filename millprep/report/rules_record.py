"""What the rules of the trade found, as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from collections.abc import Iterable

    from millprep.model.judged import BoardJudged, Neck, NetJudged, Spacing

Row = dict[str, Any]
MOST_PAIRS = 100
"""Pairs of nets that are told one by one, the least margin first."""
MOST_RINGS = 20


def rules_row(board: BoardJudged | None) -> Row | None:
    """One copy: mm and volts to four decimals, ohms to seven; None when nothing was judged."""
    if board is None:
        return None
    asked = board.rules
    return {
        "asked": {
            "spacing": asked.spacing,
            "lands": asked.lands,
            "least_counted_gap": round(asked.least_counted_gap, 4),
            "temperature_rise": round(asked.temperature_rise, 4),
            "celsius": round(asked.celsius, 4),
            "most_lost": None if asked.most_lost is None else round(asked.most_lost, 4),
            "copper": round(board.copper, 4),
        },
        "nets": [_net(one) for one in board.nets],
        "pairs": len(board.spacings),
        "spacing": [_spacing(one) for one in board.spacings[:MOST_PAIRS]],
        "across": [
            {
                "load": one.load,
                "nets": [one.one, one.other],
                "amperes": _round(one.amperes),
                "volts": None if one.volts is None else _round(one.volts),
                "lost": round(one.lost, 6) + 0.0,
            }
            for one in board.across
        ],
        "bases": [
            {
                "base": one.base,
                "circle": _round(one.circle),
                "true_circle": _round(one.true),
                "error": _round(one.error),
                "at": _point(one.at),
                "pins": list(one.pins),
                "keyed": one.keyed,
                "fits": not one.wrong,
                "hole": _round(one.hole),
                "land": None if one.land is None else _round(one.land),
                "asked": {"hole": _round(one.asked_hole), "land": _round(one.asked_land)},
            }
            for one in board.bases
        ],
        "rings": [
            {
                "hole": one.hole,
                "ring": _round(one.ring),
                "worst": _round(one.worst),
                "at": _point(one.at),
            }
            for one in board.rings[:MOST_RINGS]
        ],
    }


def _net(one: NetJudged) -> Row:
    net = one.net
    return {
        "name": net.name,
        "pieces": list(net.pieces),
        "volts": None if net.volts is None else [_round(volts) for volts in net.volts],
        "amperes": _round(net.amperes),
        "feed": one.feed,
        "loads": [
            {
                "name": at.load.name,
                "at": _point(at.at),
                "amperes": _round(at.load.amperes),
                "lost": round(at.lost, 6) + 0.0,
                "ohms": round(at.ohms, 7) + 0.0,
            }
            for at in one.loads
        ],
        "wires": [
            {
                "from": _point(at.start),
                "to": _point(at.end),
                "ohms": round(at.ohms, 7) + 0.0,
                "amperes": _round(at.amperes),
            }
            for at in one.wires
        ],
        "error": None if one.error is None else _round(one.error),
        "neck": None
        if one.neck is None
        else _neck(one.neck.neck) | {"carries": _round(one.neck.carries)},
        "hottest": None if one.hottest is None else _neck(one.hottest),
    }


def _neck(neck: Neck) -> Row:
    return {
        "width": _round(neck.width),
        "amperes": _round(neck.amperes),
        "at": _point(neck.at),
    }


def _spacing(one: Spacing) -> Row:
    return {
        "nets": [one.one, one.other],
        "volts": _round(one.volts),
        "required": _round(one.required),
        "measured": _round(one.measured),
        "direct": None if one.direct is None else _round(one.direct),
        "floating": one.stones,
        "column": one.column,
        "at": _point(one.at),
    }


def _round(value: float) -> float:
    return round(float(value), 4) + 0.0


def _point(at: Iterable[float]) -> list[float]:
    return [_round(value) for value in at]
