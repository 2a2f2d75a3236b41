"""The list of checks with a meter: what is touched, when, and in which order."""

from __future__ import annotations

import pytest
import shapely

from millprep.geometry.pose import Pose
from millprep.model.as_cut import AsCut, BoardProof, CopperPart
from millprep.model.blank import Layout
from millprep.model.board import Hole
from millprep.model.judged import Check, JoinReason
from millprep.model.milling_pass import Join
from millprep.model.set_of_programs import BoardCopy, MilledBlank
from millprep.verify.as_cut import as_cut
from millprep.verify.buzz_out import STRIP, _farthest, buzz_out
from millprep.verify.compare import compare
from millprep.verify.reader import read
from tests.helpers.programs import BLANK, HEAD, PASS, TAIL, around, board, layout, vee

VEE = vee()
RAILS = [shapely.box(6, 10 + 2 * k, 50, 11 + 2 * k) for k in range(4)]
HOLES = [
    Hole(f"h{k}{x}", (float(x), 10.5 + 2 * k), 0.6, f"c{k + 1}")
    for k in range(4)
    for x in (8, 20, 48)
]
NETS = {(0, f"c{k}"): f"c{k}" for k in range(1, 5)}
MIRRORED = Pose.mirror_y(40.0)


def proved(where: Layout) -> tuple[AsCut, tuple[BoardProof, ...]]:
    (placement,) = where.placements
    laps = "".join(around(placement.pose.shape(rail), 0.12) for rail in RAILS)
    copper = as_cut(BLANK, [(read(HEAD + laps + TAIL, file="a"), VEE, PASS)], where.placements)
    return copper, compare([copper], where)[0]


def checks(
    nets: dict[tuple[int, str], str], joins: tuple[Join, ...] = (), pose: Pose | None = None
) -> tuple[Check, ...]:
    where = layout(board(RAILS, HOLES), pose)
    copper, proofs = proved(where)
    (placement,), (proof,) = where.placements, proofs
    names = {piece: net for (_, piece), net in nets.items()}
    copies = (BoardCopy(placement, nets=names, proof=proof),)
    (copy,) = buzz_out(MilledBlank(BLANK, copies, joins=joins, as_cut=copper)).copies
    return copy.checks


def test_each_net_is_touched_once_at_its_pads_farthest_apart() -> None:
    found = [c for c in checks(NETS) if c.expect == "continuity"]
    assert sorted(c.first.net or "" for c in found) == ["c1", "c2", "c3", "c4"]
    for check in found:
        assert {check.first.pad, check.second.pad} == {
            f"h{int(str(check.first.net)[1]) - 1}{x}" for x in (8, 48)
        }
        assert check.when == "any time"


def test_links_join_two_pieces_to_one_net() -> None:
    """One check over the link, and the gap beside it is asked for before the link is made."""
    found = checks(NETS | {(0, "c2"): "c1"})
    joined = [c for c in found if c.expect == "continuity" and c.first.net == "c1"]
    assert [(c.when, {c.first.piece, c.second.piece}) for c in joined] == [
        ("after soldering", {"c1", "c2"})
    ]
    between = [
        c for c in found
        if c.expect == "isolation" and {c.first.piece, c.second.piece} == {"c1", "c2"}
    ]  # fmt: skip
    assert [c.when for c in between] == ["before soldering"]


def test_the_narrowest_gaps_are_touched_on_both_sides() -> None:
    pairs = [
        sorted((str(c.first.piece), str(c.second.piece)))
        for c in checks(NETS)
        if c.expect == "isolation"
    ]
    assert sorted(pairs) == [["c1", "c2"], ["c2", "c3"], ["c3", "c4"]]


def test_every_join_is_touched_and_bare_copper_beyond_it() -> None:
    at = (30.0, 9.9)
    join = Join(1, 0, "c1", at, (1, 2), 0.4, (0.0, 1.0))
    edge = Join(1, 0, None, (30.0, 2.0), (1, 2), 0.4, (0.0, 1.0))
    found = [c for c in checks(NETS, (join, edge)) if isinstance(c.reason, JoinReason)]
    (check,) = found
    assert (check.expect, check.first.piece, check.first.pad) == ("isolation", "c1", "h020")
    assert check.second.piece is None
    reason = check.reason
    assert isinstance(reason, JoinReason)
    assert reason.passes == (1, 2)
    assert reason.at == pytest.approx((28.0, 7.9), abs=0.05), "from the board's lower-left corner"


def test_places_are_those_of_the_board_as_it_lies_on_the_mill() -> None:
    """A board drawn from its component side is milled mirrored: y counts from the other edge."""
    for pose, y in ((None, 8.5), (MIRRORED, 36.0 - 8.5)):
        found = {
            c.first.pad: c.first.at for c in checks(NETS, pose=pose) if c.expect == "continuity"
        }
        assert found["h08"] == pytest.approx((6.0, y))


def test_the_walk_goes_strip_by_strip() -> None:
    strips = [int(min(c.first.at[0], c.second.at[0]) // STRIP) for c in checks(NETS)]
    assert strips == sorted(strips)
    assert len(strips) == 7


@pytest.mark.parametrize(
    ("parts", "nets", "second", "when"),
    [
        (((0, "c1"), (0, "c2")), {}, ("c2", "c2", "h120"), "any time"),
        (((0, "c1"), (0, "c2")), {"c1": "gnd", "c2": "gnd"}, ("c2", "gnd", "h120"),
         "before soldering"),
        (((0, "c1"), (1, "c2")), {}, (None, None, None), "any time"),
        (((0, "c1"), None), {"c1": "gnd"}, (None, None, None), "any time"),
        (((0, "c1"),), {}, None, ""),
    ],
)  # fmt: skip
def test_what_lies_across_a_join_is_touched(
    parts: tuple[tuple[int, str] | None, ...],
    nets: dict[str, str],
    second: tuple[str | None, ...] | None,
    when: str,
) -> None:
    """A pad of the piece there, or bare copper of no piece of this copy; or nothing is left."""
    (placement,) = layout(board(RAILS, HOLES)).placements
    copper = AsCut(
        1, (),
        tuple(
            CopperPart(rail, () if key is None else (key,))
            for rail, key in zip(RAILS, parts, strict=False)
        ),
    )  # fmt: skip
    join = Join(1, 0, "c1", (22.0, 11.1), (1, 2), 0.4, (0.0, 1.0))
    proof = BoardProof(0, 4, 0, 0, None, None, None, None)
    copy = BoardCopy(placement, nets=nets, proof=proof)
    (done,) = buzz_out(MilledBlank(BLANK, (copy,), joins=(join,), as_cut=copper)).copies
    across = [check for check in done.checks if isinstance(check.reason, JoinReason)]
    if second is None:
        assert across == []
        return
    (check,) = across
    assert (check.expect, check.first.pad, check.when) == ("isolation", "h020", when)
    assert (check.second.piece, check.second.net, check.second.pad) == second
    if second == (None, None, None):
        assert check.second.at == pytest.approx((20.0, 10.0)), "the nearest place of that copper"


def test_of_many_pads_the_two_farthest_apart_are_on_their_hull() -> None:
    spots = [(1.0 * (k % 20), 2.0 * (k // 20)) for k in range(240)]
    pads = [("c1", Hole(f"h{k}", at, 0.6, "c1")) for k, at in enumerate(spots)]
    (_, first), (_, second) = _farthest(pads)
    assert {first.at, second.at} in ({(0.0, 0.0), (19.0, 22.0)}, {(19.0, 0.0), (0.0, 22.0)})
