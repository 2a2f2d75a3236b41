"""`millprep check` on small boards with one thing to find each."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from ezdxf.layouts.layout import Modelspace

import millprep
from tests.helpers import small_job
from tests.helpers.checked_jobs import FAR, RAIL, job, net, wide_and_narrow
from tests.helpers.small_job import changed, edge, pad, put, run, track


def near(space: Modelspace) -> None:
    """Two tracks 0.5 mm apart for 10 mm, each with a pad at its end."""
    edge(space)
    for y, x in ((10.0, 6.0), (11.5, 24.0)):
        track(space, [(10.0, y), (20.0, y)], width=1.0)
        track(space, [(x, y), (15.0, y)], width=1.0)
        pad(space, x, y)


APART = net("anode", (6.0, 10.0), "volts = 300") + net("common", (24.0, 11.5), "volts = 0")


def listed(folder: Path, text: str, what: small_job.Draw) -> tuple[int, dict]:  # type: ignore[type-arg]
    result = run("check", put(folder, text, what), "--json")
    return result.exit_code, json.loads(result.stdout)


def codes(told: dict) -> list[str]:  # type: ignore[type-arg]
    return [finding["code"] for finding in told["findings"]]


def test_300_volts_over_half_a_millimetre_stop_the_job(tmp_path: Path) -> None:
    code, got = listed(tmp_path, job(APART), near)
    assert code == 1
    (board,) = got["boards"]
    (pair,) = [p for p in board["rules"]["spacing"] if p["nets"] == ["anode", "common"]]
    assert pair["volts"] == 300
    assert pair["required"] == 1.25
    assert pair["measured"] == pytest.approx(0.5, abs=0.02)
    (finding,) = [f for f in got["findings"] if f["code"] == "spacing-too-narrow"]
    assert finding["severity"] == "stop"
    assert finding["frame"] == "blank"


def test_prepare_refuses_it_with_the_place_circled(tmp_path: Path) -> None:
    made = put(tmp_path, job(APART), near)
    result = run("prepare", made, "--out", tmp_path / "set")
    assert result.exit_code == 1
    # drawn 0.5 apart; a vee leaves less at the foot of the copper
    assert "gap of 0.481 mm between anode and common; 300 V require 1.25 mm" in result.stderr
    assert not (tmp_path / "set").exists()
    refused = tmp_path / "set-refused"
    report = json.loads((refused / "report.json").read_text("utf-8"))
    place = [f["code"] for f in report["findings"]].index("spacing-too-narrow") + 1
    words = (refused / "findings.txt").read_text("utf-8")
    shown = words.split(f"F{place}  STOP", 1)[1].split("F", 1)[1]
    assert "previews/close-up-" in shown or "Picture: previews/close-up-" in words
    assert list(refused.glob("previews/close-up-*.png"))
    assert report["boards"][0]["rules"]["pairs"] >= 1
    assert not list(refused.rglob("*.ngc"))


def test_the_same_board_in_another_column_passes(tmp_path: Path) -> None:
    rules = '[rules]\nspacing = "A5"\nedge = false\n'
    code, got = listed(tmp_path, job(APART, rules=rules), near)
    assert code == 0
    assert "spacing-too-narrow" not in codes(got)


def test_a_rail_that_is_too_thin_is_found_with_its_amperes_and_volts(tmp_path: Path) -> None:
    rules = "[rules]\nmost_lost = 0.02\n"
    code, rows = listed(tmp_path, job(RAIL, rules=rules), wide_and_narrow)
    assert code == 0
    assert {"neck-too-thin", "drop-too-large"} <= set(codes(rows))
    (one,) = rows["boards"][0]["rules"]["nets"]
    assert one["neck"]["width"] == pytest.approx(0.5, abs=0.02)
    assert one["neck"]["amperes"] == pytest.approx(3.0, rel=0.03)
    # IPC-2221's curve for 0.5 mm × 35 µm and 10 K, worked out by hand.
    assert one["neck"]["carries"] == pytest.approx(
        0.048 * 10**0.44 * (0.5 * 0.035 / 0.0254**2) ** 0.725, rel=0.03
    )
    feed, valve = one["loads"]
    assert (feed["name"], feed["lost"]) == ("feed", 0.0)
    square = 1 / 58000 / 0.035
    # Every line straight across taken for one potential gives the least resistance there is.
    lines = ((5, 12, 1.5), (12, 18, 0.5), (18, 25, 1.5), (3.8, 6.2, 2.4), (23.8, 26.2, 2.4))
    drawn = shapely.union_all(
        [shapely.LineString([(a, 10), (b, 10)]).buffer(w / 2, quad_segs=32) for a, b, w in lines]
    )
    steps = np.arange(5.51, 24.49, 0.02)
    across = shapely.linestrings([[(x, 0), (x, 20)] for x in steps])
    widths = shapely.length(shapely.intersection(drawn, across))
    least = 3.0 * square * float((0.02 / widths).sum())
    assert least < valve["lost"] < 1.1 * least
    assert valve["ohms"] == pytest.approx(valve["lost"] / 3.0, rel=1e-3)


def socket(circle: float) -> small_job.Draw:
    """A 7-pin socket, seen from the copper: seven of eight places, the gap upward."""

    def what(space: Modelspace) -> None:
        edge(space)
        for pin in range(1, 8):
            turn = math.radians(90 - 45 * pin)
            x, y = 15 + circle / 2 * math.cos(turn), 10 + circle / 2 * math.sin(turn)
            track(space, [(x - 0.2, y), (x + 0.2, y)], width=1.8)
            space.add_circle((x, y), 0.5, dxfattribs={"layer": "wells"})

    return what


def test_a_7_pin_base_on_a_circle_of_9_8_mm_is_found(tmp_path: Path) -> None:
    code, got = listed(tmp_path, small_job.JOB, socket(9.8))
    assert code == 0
    assert "base-off-pattern" in codes(got)
    (base,) = got["boards"][0]["rules"]["bases"]
    assert base["base"].startswith("7-pin")
    assert base["circle"] == pytest.approx(9.8, abs=0.01)
    assert base["fits"] is False
    assert base["keyed"] is True


def test_a_base_is_said_with_its_circle_its_pins_and_which_way_they_count(tmp_path: Path) -> None:
    words = run("check", put(tmp_path, small_job.JOB, socket(9.8))).stdout
    lines = [line.strip() for line in words.splitlines()]
    at = next(n for n, line in enumerate(lines) if line.startswith("holes placed like"))
    assert lines[at] == "holes placed like valve bases: 1 × 7-pin miniature (B7G) on 9.8 mm"
    # 0.135 mm in the radius, and more for pins far from the middle of all seven
    off, _, count = lines[at + 1].partition("; pin 1 to 7: ")
    assert off.endswith("; off by 0.15 mm, its own is 9.53 mm")
    order, _, other_way = count.partition("; ")
    first, *_, last = order.split(" ")
    assert sorted(order.split(" ")) == [f"h{n}" for n in range(1, 8)]
    assert other_way == f"milled the other way round they would count backwards, {last} first"
    assert first != last
    # tracks of 1.8 mm under holes of 1 mm
    assert "holes of 1.00 mm and pads of 1.80 mm; its pins need" in lines[at + 2]


def two_rails(space: Modelspace) -> None:
    """Two tracks of 1 mm from a supply to two heaters."""
    edge(space)
    for y in (6.0, 14.0):
        for x in (5.0, 15.0, 25.0):
            pad(space, x, y)
        track(space, [(5.0, y), (25.0, y)], width=1.0)


def test_what_a_load_between_two_nets_gets_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def rail(name: str, y: float, volts: float, sign: int) -> str:
        return net(name, (5.0, y), f"volts = {volts}") + "".join(
            f'[[board.net.load]]\nname = "{load}"\nat = [{x}, {y}]\namperes = {amperes}\n'
            for load, x, amperes in (
                ("supply", 5.0, -2.0 * sign),
                ("near", 15.0, sign),
                ("far", 25.0, sign),
            )
        )

    both = rail("hot", 6.0, 6.3, 1) + rail("back", 14.0, 0.0, -1)
    made = put(tmp_path, job(both), two_rails)
    checked = millprep.check(made)
    monkeypatch.setattr(millprep, "check", lambda *_, **__: checked)
    words = run("check", made).stdout
    lines = [line.split() for line in words.splitlines()]
    at = next(n for n, line in enumerate(lines) if line[:3] == ["between", "two", "nets,"])
    assert lines[at + 1] == ["between", "A", "V", "V", "drop"]
    single = {line[0]: float(line[2]) for line in lines if line[1:2] == ["1"] and len(line) == 4}
    for name, row in zip(("near", "far"), lines[at + 2 : at + 4], strict=True):
        *nets, amperes, volts, lost = row
        assert (nets, amperes) == ([name, "hot", "and", "back"], "1")
        # there and back on two tracks alike, and what is left of 6.3 V
        assert float(lost) == pytest.approx(2 * single[name], abs=2e-4)
        assert float(volts) == pytest.approx(6.3 - float(lost), abs=1e-3)
    (board,) = json.loads(run("check", made, "--json").stdout)["boards"]
    near, far = board["rules"]["across"]
    assert (near["load"], near["nets"], near["amperes"]) == ("near", ["hot", "back"], 1.0)
    assert (far["load"], far["volts"]) == ("far", pytest.approx(6.3 - far["lost"], abs=1e-3))


def test_a_true_one_is_numbered_and_no_finding(tmp_path: Path) -> None:
    _, got = listed(tmp_path, small_job.JOB, socket(9.53))
    assert "base-off-pattern" not in codes(got)
    (base,) = got["boards"][0]["rules"]["bases"]
    # Seen from the copper pins count clockwise from the gap: the first lies right of it.
    assert base["fits"] is True
    mirrored = changed('drawn_from = "copper"', 'drawn_from = "components"')
    _, other = listed(tmp_path, mirrored, socket(9.53))
    (turned,) = other["boards"][0]["rules"]["bases"]
    assert turned["pins"] == base["pins"][::-1]


def test_without_nets_it_says_so_and_writes_nothing(tmp_path: Path) -> None:
    made = put(tmp_path)
    result = run("check", made)
    assert result.exit_code == 0
    assert "[nets-not-named]" in result.stderr
    assert "copper around holes" in result.stdout
    assert {path.name for path in tmp_path.iterdir()} == {"job.toml", "lamp.dxf"}


def test_words_of_a_judged_board_and_its_pictures(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made = put(tmp_path, job(RAIL), wide_and_narrow)
    checked = millprep.check(made)
    monkeypatch.setattr(millprep, "check", lambda *_, **__: checked)
    result = run("check", made, "--pictures", tmp_path / "look")
    assert result.exit_code == 0
    assert "heater, voltage drop from feed" in result.stdout
    assert "no insulation that" in result.stdout
    names = {path.name for path in (tmp_path / "look").iterdir()}
    assert {"net-1-potential.png", "net-1-current.png"} <= names
    drawn = sum(name.endswith(".png") for name in names)
    assert f"{drawn} pictures in {tmp_path / 'look'}" in result.stdout
    # as JSON nothing else is printed, and the same is drawn
    as_json = run("check", made, "--pictures", tmp_path / "again", "--json")
    assert [board["name"] for board in json.loads(as_json.stdout)["boards"]] == ["lamp"]
    assert {path.name for path in (tmp_path / "again").iterdir()} == names


@pytest.mark.parametrize(
    ("nets", "code", "words"),
    [
        (net("n", (1.0, 1.0), ""), "net-on-no-copper", "at is 1, 1 mm, where there is no copper"),
        (
            net("n", (8.0, 6.0), "") + net("m", (22.0, 6.0), ""),
            "net-named-twice",
            "is on the copper of net 'n'",
        ),
        (net("c1", (8.0, 6.0), ""), "net-name-taken", "what the reports call a piece"),
        ('[[board.net]]\nname = "n"\ntext = "B+"\n', "net-text-missing", "it holds no text"),
        (
            net("n", (8.0, 6.0), "")
            + '[[board.net.load]]\nname = "V1"\nat = [15.0, 14.0]\namperes = 0.0\n',
            "load-off-its-net",
            "at is 15, 14 mm, on the copper of another net",
        ),
    ],
)
def test_what_the_drawing_does_not_bear_out_is_a_mistake_of_the_job(
    tmp_path: Path, nets: str, code: str, words: str
) -> None:
    text = job(nets)
    result = run("check", put(tmp_path, text), "--json")
    assert result.exit_code == 2
    (finding,) = json.loads(result.stdout)["findings"]
    assert finding["code"] == code
    assert words in finding["message"]
    line = text.splitlines()[finding["line"] - 1]
    assert line.split(" ")[0] in ("at", "text", "name")
    assert finding["board"] == "lamp"
    prepared = run("prepare", tmp_path / "job.toml", "--out", tmp_path / "set")
    assert prepared.exit_code == 2
    assert f"[{code}]" in prepared.stderr


def test_text_names_a_net_where_it_stands_on_one_net_only(tmp_path: Path) -> None:
    def lettered(*places: tuple[float, float]) -> small_job.Draw:
        def what(space: Modelspace) -> None:
            small_job.whole(space)
            for place in places:
                space.add_text("B+", dxfattribs={"layer": "remarks", "insert": place})

        return what

    named = job('[[board.net]]\nname = "supply"\ntext = "B+"\nvolts = 20\n')
    _, got = listed(tmp_path, named, lettered((8.0, 6.0), (20.0, 6.0)))
    (one,) = got["boards"][0]["rules"]["nets"]
    assert (one["name"], len(one["pieces"])) == ("supply", 1)
    code, got = listed(tmp_path, named, lettered((8.0, 6.0), (15.0, 14.0)))
    assert (code, codes(got)) == (2, ["net-text-twice"])
    code, got = listed(tmp_path, named, lettered((2.0, 2.0)))
    assert (code, codes(got)) == (2, ["net-on-no-copper"])


def test_a_link_makes_two_pieces_one_net_and_carries_current(tmp_path: Path) -> None:
    nets = (
        "links = [[[8.0, 6.0], [15.0, 14.0]]]\n"
        + net("n", (22.0, 6.0), "volts = 5")
        + (
            '[[board.net.load]]\nname = "feed"\nat = [22.0, 6.0]\namperes = -1.0\n'
            '[[board.net.load]]\nname = "end"\nat = [15.0, 14.0]\namperes = 1.0\n'
        )
    )
    _, got = listed(tmp_path, job(nets), small_job.whole)
    (one,) = got["boards"][0]["rules"]["nets"]
    assert len(one["pieces"]) == 2
    assert [load["name"] for load in one["loads"]] == ["feed", "end"]
    assert one["loads"][1]["lost"] > 0


def test_the_sheet_of_a_set_tells_what_was_judged(tmp_path: Path) -> None:
    made = put(tmp_path, job(RAIL), wide_and_narrow)
    assert run("prepare", made, "--out", tmp_path / "set").exit_code == 0
    sheet = (tmp_path / "set" / "sheet.html").read_text("utf-8")
    assert "Voltage and current: lamp, copy 1 on blank 1" in sheet
    assert "no insulation that protects a person" in sheet
    report = json.loads((tmp_path / "set" / "report.json").read_text("utf-8"))
    assert report["boards"][0]["rules"]["nets"][0]["name"] == "heater"
    assert "loads-not-solved" in [finding["code"] for finding in report["findings"]]


def far(space: Modelspace) -> None:
    """Two tracks 4 mm apart, with background copper between them."""
    edge(space)
    for y in (7.0, 12.0):
        track(space, [(8.0, y), (22.0, y)], width=1.0)
        pad(space, 8.0, y)


@pytest.mark.parametrize(("gap", "code"), [("0.5", 1), ('"by voltage"', 0)])
def test_an_isolation_of_half_a_millimetre_for_300_volts(
    tmp_path: Path, gap: str, code: int
) -> None:
    nets = net("anode", (10.0, 7.0), "volts = 300") + net("common", (10.0, 12.0), "volts = 0")
    made = put(tmp_path, job(nets, gap=gap), far)
    result = run("prepare", made, "--out", tmp_path / "set")
    assert result.exit_code == code
    assert ("[spacing-too-narrow]" in result.stderr) == bool(code)
    folder = tmp_path / ("set-refused" if code else "set")
    report = json.loads((folder / "report.json").read_text("utf-8"))
    pairs = report["boards"][0]["rules"]["spacing"]
    (pair,) = [pair for pair in pairs if pair["nets"] == ["anode", "common"]]
    assert (pair["measured"] >= pair["required"]) == (not code)
    assert bool(list(folder.glob("previews/close-up-*.png"))) or not code


def test_a_feed_that_breaks_cutters_is_a_warning_with_its_remedy(tmp_path: Path) -> None:
    fast = FAR.rstrip() + "\nfeed = 1000\n"
    code, got = listed(tmp_path, changed(FAR, fast), near)
    assert code == 0
    (finding,) = [f for f in got["findings"] if f["code"] == "chip-load-high"]
    assert finding["severity"] == "warn"
    assert "Slow the feed to 600 mm/min" in finding["message"]
    (row,) = [row for row in got["programs"] if row["cutter"] == "vee"]
    assert row["cutting"]["chip_load"] == pytest.approx(1000 / 12000, abs=1e-5)
    made = put(tmp_path, changed(FAR, fast), near)
    result = run("prepare", made, "--out", tmp_path / "set")
    assert result.exit_code == 0
    assert "[chip-load-high]" in result.stderr
    assert "600 mm/min" in result.stderr
