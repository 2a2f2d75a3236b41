"""One of each fault seeded into a whole set as it was written, with hashes and table aside."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pytest

from millprep.model.blank import Layout
from millprep.model.cutter import Cutter, Drill, Vee
from millprep.toolpaths import linking
from millprep.verify.reader import read
from tests.helpers.proof_bench import Bench

Text = Callable[[str], str]


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Bench:
    return Bench(tmp_path_factory.mktemp("seeded"))


def which(bench: Bench, work: str) -> int:
    (k,) = [k for k, program in enumerate(bench.programs) if program.work == work]
    return k


def spoilt(bench: Bench, work: str, change: Text) -> set[str]:
    """What is told when the text of a program is changed."""
    k = which(bench, work)
    text = change(bench.texts[k])
    assert text != bench.texts[k]
    traces = [*bench.traces[:k], read(text, file="a"), *bench.traces[k + 1 :]]
    return bench.codes_of(k, traces, bench.cut(traces))


def with_cutter(bench: Bench, work: str, cutter: Cutter) -> set[str]:
    """What is told when another cutter runs a program as it stands."""
    k, kept = which(bench, work), bench.programs
    bench.programs = (*kept[:k], replace(kept[k], cutter=cutter), *kept[k + 1 :])
    try:
        return bench.codes_of(k, bench.traces, bench.cut(bench.traces))
    finally:
        bench.programs = kept


def laps(text: str) -> list[str]:
    """A program of isolation: its head, each lap from its rapid on, and its end."""
    return re.split(r"(?=^G0 X[\d.]+ Y[\d.]+$)", text, flags=re.MULTILINE)


def lacking(lap: str) -> Text:
    """What takes a lap out of a program."""
    return lambda text: text.replace(lap, "G0 Z5.0000\n")


def test_the_set_itself_is_clean(bench: Bench) -> None:
    for k in range(len(bench.programs)):
        assert bench.codes_of(k, bench.traces) == set()


def test_a_bridge(bench: Bench) -> None:
    """Every lap is lifted over its straight stretches: copper goes on from pieces to background."""

    def lifted(text: str) -> str:
        up_and_down = r"G0 Z0.1000\n\g<0>\nG1 Z-0.0800"
        return re.sub(r"^G1 X[\d.]+( Y[\d.]+)?$", up_and_down, text, flags=re.MULTILINE)

    assert "copper-short" in spoilt(bench, "isolate", lifted)


def test_a_cut(bench: Bench) -> None:
    """A stroke across the track between the two pads."""
    (placement,) = bench.layout.placements
    (x0, y0), (x1, y1) = (placement.pose.point(at) for at in ((15.0, 5.0), (15.0, 7.0)))
    stroke = (
        f"G0 X{x0:.4f} Y{y0:.4f}\nG1 Z-0.0800 F100.0000\n"
        f"G1 X{x1:.4f} Y{y1:.4f} F300.0000\nG0 Z5.0000\n"
    )

    def across(text: str) -> str:
        first, *rest = laps(text)
        return first + stroke + "".join(rest)

    assert "copper-open" in spoilt(bench, "isolate", across)


def test_a_link_across_what_stays(bench: Bench) -> None:
    """The cutter stays down from the laps of one piece to those of the other."""
    text = laps(bench.texts[which(bench, "isolate")])
    one, other = (part for part in text if "G1 Z-0.0800" in part)

    def down(text: str) -> str:
        x, y = re.findall(r"X([\d.]+) Y([\d.]+)", other)[0]
        across = re.sub(
            r"^(?s:.*?)G1 Z-0.0800.*$", f"G1 X{x} Y{y}", other, count=1, flags=re.MULTILINE
        )
        assert across.startswith("G1 X")
        return text.replace(one + other, re.sub(r"G0 Z.*\n\Z", "", one) + across)

    assert "stray-cut" in spoilt(bench, "isolate", down)


def test_a_missing_ring(
    tmp_path_factory: pytest.TempPathFactory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without the laps of any one of the three distances around a piece it is told."""
    # one after the other, so that each can be left out
    monkeypatch.setattr(linking, "linked_laps", lambda laps, *_: list(laps))
    bench = Bench(tmp_path_factory.mktemp("apart"))
    k = which(bench, "isolate")
    rings = [lap for lap in laps(bench.texts[k])[1:] if "Z-0.0800" in lap]
    assert len(rings) == 6, "three laps around two pieces"
    expected = {"copper-uncut", "copper-not-isolated", "gap-not-opened", "copper-island"}
    for gone in rings:
        result = spoilt(bench, "isolate", lacking(gone))
        assert result & expected, gone[:40]


@pytest.mark.parametrize("work", ["isolate", "drill", "profile"])
def test_a_shifted_pass(bench: Bench, work: str) -> None:
    """One program 0.1 mm to the right of the others."""

    def shifted(text: str) -> str:
        return re.sub(r"X([\d.]+)", lambda m: f"X{float(m[1]) + 0.1:.4f}", text)

    expected = {"isolate": "copper-gouged", "drill": "hole-off", "profile": "stray-cut"}[work]
    assert expected in spoilt(bench, work, shifted)


def test_a_wider_cutter(bench: Bench) -> None:
    vee = bench.programs[which(bench, "isolate")].cutter
    assert isinstance(vee, Vee)
    result = with_cutter(bench, "isolate", replace(vee, tip=vee.tip + 0.05))
    assert {"copper-gouged", "stray-cut"} <= result


def test_a_shallower_vee(bench: Bench) -> None:
    """Down to the copper's foot this vee's edges move by less than the tolerances."""

    def shallower(depth: float) -> set[str]:
        return spoilt(bench, "isolate", lambda text: text.replace("Z-0.0800", f"Z-{depth:.4f}"))

    assert shallower(0.04) == set()
    assert "copper-short" in shallower(0.034)


def test_a_swapped_drill(bench: Bench) -> None:
    drill = bench.programs[which(bench, "drill")].cutter
    assert isinstance(drill, Drill)
    assert "hole-size" in with_cutter(bench, "drill", replace(drill, diameter=1.3))


def test_a_mirrored_board(bench: Bench) -> None:
    """The same programs, held against the board turned over."""
    (placement,), kept = bench.layout.placements, bench.layout
    p = placement.pose
    _, y0, _, y1 = bench.board.bounds
    turned = replace(p, d=-p.d, e=-p.e, f=y0 + y1 - p.f)
    bench.layout = Layout(kept.blanks, (replace(placement, pose=turned),))
    try:
        result = bench.codes_of(which(bench, "isolate"), bench.traces, bench.cut(bench.traces))
    finally:
        bench.layout = kept
    assert {"copper-open", "hole-missing", "stray-cut"} <= result
