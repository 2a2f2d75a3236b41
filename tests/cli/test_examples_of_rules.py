"""The example jobs of the rules, run as a person would, and what they are there to show."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from millprep.standards.spacing import required
from tests.helpers.small_job import run

EXAMPLES = Path(__file__).parents[2] / "examples" / "rules"
LEAST = required(300, "B2")


def finding(told: dict[str, Any], code: str) -> dict[str, Any]:
    found: list[dict[str, Any]] = [one for one in told["findings"] if one["code"] == code]
    assert found, code
    return found[0]


def on_blank(board: dict[str, Any], x: float, y: float) -> tuple[float, float]:
    a, b, c, d, e, f = board["drawing_to_blank"]
    return (a * x + b * y + c, d * x + e * y + f)


def check(name: str) -> dict[str, Any]:
    result = run("check", EXAMPLES / name, "--json")
    assert result.exit_code == 0
    report: dict[str, Any] = json.loads(result.stdout)
    return report


def test_the_drawings_are_drawn_again_to_the_byte(tmp_path: Path) -> None:
    subprocess.run([sys.executable, EXAMPLES / "draw.py", tmp_path], check=True)
    drawn = sorted(file.name for file in EXAMPLES.glob("*.dxf"))
    assert drawn == sorted(file.name for file in tmp_path.iterdir())
    for name in drawn:
        assert (tmp_path / name).read_bytes() == (EXAMPLES / name).read_bytes(), name


def test_every_job_is_in_the_readme_and_the_other_way_round() -> None:
    text = (EXAMPLES / "README.md").read_text("utf-8")
    for file in EXAMPLES.glob("*.toml"):
        assert f"`{file.name}`" in text
        assert f"{file.name} --" in text


def test_300_volts_behind_half_a_millimetre_are_refused_with_the_place_circled(
    tmp_path: Path,
) -> None:
    out = tmp_path / "half"
    result = run("prepare", EXAMPLES / "supply-half-millimetre.toml", "--out", out)
    assert result.exit_code == 1
    assert not out.exists()
    refused = tmp_path / "half-refused"
    report = json.loads((refused / "report.json").read_text("utf-8"))
    board = report["boards"][0]
    (pair,) = [p for p in board["rules"]["spacing"] if sorted(p["nets"]) == ["0V", "B+"]]
    assert (pair["volts"], pair["required"]) == (300.0, LEAST)
    assert pair["measured"] == pytest.approx(2 * 0.5, abs=0.02)
    assert pair["floating"] == 1
    assert pair["direct"] == pytest.approx(22 - 6 - 2 * 1.2, abs=0.05)
    stops = [f for f in report["findings"] if f["severity"] == "stop"]
    assert {f["code"] for f in stops} == {"spacing-too-narrow"}
    # B+ and 0 V are the sixth of six pairs with the same gap, and counted
    assert stops[-1]["message"].endswith("And 1 more.")
    (stop,) = [f for f in stops if "between 0V and A1" in f["message"]]
    assert "300 V require 1.25 mm" in stop["message"]
    # at the edge of the common rail's middle pad or B+'s: gaps are alike around all of them
    x, y = pair["at"]
    near = [on_blank(board, *at) for at in ((25.0, 6.0), (20.0, 22.0), (34.0, 22.0), (6.0, 6.0))]
    reach = min(((x - a) ** 2 + (y - b) ** 2) ** 0.5 for a, b in near)
    assert reach == pytest.approx(1.2 + 0.25, abs=0.05)
    number = report["findings"].index(stop) + 1
    assert f"F{number}  STOP" in (refused / "findings.txt").read_text("utf-8")
    assert list(refused.glob("previews/close-up-*.png"))


def test_the_same_supply_by_voltage_passes(tmp_path: Path) -> None:
    out = tmp_path / "set"
    result = run("prepare", EXAMPLES / "supply-by-voltage.toml", "--out", out)
    assert result.exit_code == 0
    report = json.loads((out / "report.json").read_text("utf-8"))
    board = report["boards"][0]
    (pair,) = [p for p in board["rules"]["spacing"] if sorted(p["nets"]) == ["0V", "B+"]]
    assert pair["measured"] >= LEAST
    assert min(p["measured"] - p["required"] for p in board["rules"]["spacing"]) > -1e-4
    assert {f["severity"] for f in report["findings"]} == {"note"}
    words = finding(report, "gap-by-voltage")["message"]
    assert "A1 1.25, A2 1.25, B+ 1.25" in words
    assert "0V" not in words
    assert (board["proof"]["shorts"], board["proof"]["opens"]) == (0, 0)


def test_the_thin_rail_is_found_with_its_amperes_and_volts() -> None:
    findings = check("heaters.toml")
    thin = finding(findings, "neck-too-thin")
    assert "has to carry 1.80 A" in thin["message"]
    (net,) = findings["boards"][0]["rules"]["nets"]
    assert net["neck"]["width"] == pytest.approx(0.5, abs=0.01)
    assert net["neck"]["amperes"] == pytest.approx(3 * 0.6, rel=0.01)
    # IPC-2221's curve: 0.5 mm × 35 µm, 10 K
    assert net["neck"]["carries"] == pytest.approx(1.447, rel=0.01)
    at = {load["name"]: load["at"] for load in net["loads"]}
    assert at["V1 heater"][0] < thin["at"][0] < at["V2 heater"][0]
    assert thin["at"][1] == pytest.approx(at["V1 heater"][1], abs=0.02)
    lost = {load["name"]: load["lost"] for load in net["loads"]}
    # straight across is the least there is: 15 mm of the stretch lie between two pads of 3 mm
    stretch = lost["V2 heater"] - lost["V1 heater"]
    square = 1 / 58000 / 0.035
    assert 1.8 * square * 15 / 0.5 < stretch < 1.8 * square * 18 / 0.5
    assert stretch > lost["V4 heater"] / 2
    drop = finding(findings, "drop-too-large")
    assert f"V4 heater gets {lost['V4 heater']:.3f} V less than transformer" in drop["message"]


def test_the_base_on_a_wrong_circle_is_found() -> None:
    findings = check("socket.toml")
    wrong = finding(findings, "base-off-pattern")
    assert "on a circle of 9.80 mm, its own is 9.53 mm" in wrong["message"]
    (base,) = findings["boards"][0]["rules"]["bases"]
    assert base["circle"] == pytest.approx(9.8, abs=0.005)
    assert base["fits"] is False
    # the board lies in the middle of its blank, the base in the middle of the board
    assert wrong["at"] == pytest.approx((40.0, 35.0), abs=0.02)
    # the pins of its socket fit their holes and lands
    assert (base["hole"], base["land"]) == pytest.approx((1.3, 2.2), abs=0.01)
    assert base["asked"] == {"hole": 1.3, "land": 2.2}
    assert not {"socket-pin-hole", "socket-pin-pad", "base-holes-narrow"} & {
        one["code"] for one in findings["findings"]
    }
