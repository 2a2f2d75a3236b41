from __future__ import annotations

import math

import pytest

from millprep.model.job.nets import Load, NetFacts, Wire, unbalanced


def feed(*amperes: float) -> tuple[Load, ...]:
    return tuple(Load(f"l{n}", (float(n), 0.0), a) for n, a in enumerate(amperes))


def test_currents_balance_or_the_net_is_none() -> None:
    assert unbalanced((-0.3, 0.1, 0.1, 0.1)) == 0
    assert unbalanced((-1.0, 0.6)) == pytest.approx(-0.4)
    assert unbalanced(()) == 0
    assert NetFacts("rail", ("c1",), loads=feed(-0.9, *[0.15] * 6)).loads
    with pytest.raises(ValueError, match=r"net rail: -0\.4 A leave it and do not enter"):
        NetFacts("rail", ("c1",), loads=feed(-1.0, 0.6))


def test_volts_between_two_nets_are_the_most_there_can_be() -> None:
    bias = NetFacts("bias", ("c1",), (-150.0, -150.0))
    anode = NetFacts("anode", ("c2",), (30.0, 250.0))
    assert bias.volts_to(anode) == anode.volts_to(bias) == 400
    assert anode.volts_to(anode) == 220
    assert anode.volts_to(NetFacts("signal", ("c3",))) is None


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: NetFacts("n", ()), "net n has no copper"),
        (lambda: NetFacts("n", ("c1",), (5.0, 1.0)), r"net n: volts are \(lowest, highest\)"),
        (lambda: NetFacts("n", ("c1",), (math.nan, 1.0)), "volts are"),
        (lambda: NetFacts("n", ("c1",), amperes=-1.0), "amperes must be 0 or more"),
        (lambda: NetFacts("n", ("c1",), amperes=1.0, loads=feed(-1, 1)), "amperes must be 0"),
        (lambda: Load("x", (0, 0), math.inf), "finite"),
        (lambda: Load("x", (0, 0), 1.0, 0.0), "greater than 0"),
        (lambda: Wire((0, 0), (1, 1), -1.0), "a wire has 0 Ω or more, got -1.0"),
    ],
)
def test_what_is_no_net(make: object, words: str) -> None:
    assert callable(make)
    with pytest.raises(ValueError, match=words):
        make()
