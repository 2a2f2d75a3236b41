"""Nets and rules in the job file: what is taken, and what is refused with its place."""

from __future__ import annotations

from pathlib import Path

import pytest

from millprep.job import load
from millprep.model.finding import Refusal
from millprep.model.job.nets import Load, NetPlan
from millprep.model.job.rules import RulesPlan, SocketPin
from tests.helpers.sample_job import JOB, write

NETS = """
[[board.net]]
name = "heater"
at = [10.0, 5.0]
volts = 6.3
[[board.net.load]]
name = "feed"
at = [2.0, 5]
amperes = -0.3
[[board.net.load]]
name = "V1"
at = [30.0, 5.0]
amperes = 0.3
contact = 1.5

[[board.net]]
name = "anode"
text = "B+"
volts = [0.0, 250.0]
amperes = 0.02
"""
ANCHOR = "[cutters.vee]"


def job(nets: str = NETS, rules: str = "") -> str:
    return JOB.replace(ANCHOR, nets + "\n" + ANCHOR) + rules


def refused(folder: Path, text: str) -> list[str]:
    with pytest.raises(Refusal) as caught:
        load(write(folder, text))
    assert caught.value.exit_code == 2
    return [finding.message for finding in caught.value.findings]


def one(folder: Path, old: str, new: str) -> str:
    """The only mistake of a job with a change, without the file's name."""
    assert NETS.count(old) == 1
    text = job(NETS.replace(old, new))
    (message,) = refused(folder, text)
    place, words = message.split(": ", 1)
    line, column = (int(n) for n in place.rsplit(":", 2)[1:])
    assert text.splitlines()[line - 1][column - 1 :].strip("[]")
    return f"{text.splitlines()[line - 1]} | {words}"


def test_nets_become_values(tmp_path: Path) -> None:
    plan = load(write(tmp_path, job()))
    assert plan.boards[0].nets == (
        NetPlan(
            name="heater",
            at=(10.0, 5.0),
            volts=(6.3, 6.3),
            loads=(Load("feed", (2.0, 5.0), -0.3), Load("V1", (30.0, 5.0), 0.3, 1.5)),
        ),
        NetPlan(name="anode", text="B+", volts=(0.0, 250.0), amperes=0.02),
    )
    assert plan.rules == RulesPlan()


def test_a_job_without_nets_names_none(tmp_path: Path) -> None:
    assert load(write(tmp_path)).boards[0].nets == ()


def test_rules_become_values(tmp_path: Path) -> None:
    rules = (
        '[rules]\nspacing = "A5"\nlands = "A6"\nleast_counted_gap = 0.2\nedge = false\n'
        'temperature_rise = 20\ncelsius = 40\nmost_lost = 0.3\nlevel = "B"\ndrill_wander = 0.02\n'
        'pass_error = 0.1\n[rules.pins]\npreset = "single-pin-1"\nland = 2.0\n'
    )
    assert load(write(tmp_path, job(rules=rules))).rules == RulesPlan(
        spacing="A5",
        lands="A6",
        least_counted_gap=0.2,
        edge=False,
        temperature_rise=20,
        celsius=40,
        most_lost=0.3,
        level="B",
        drill_wander=0.02,
        pass_error=0.1,
        pins=SocketPin(
            preset="single-pin-1", thinnest=0.95, thickest=1.05, hole=1.3, land=2.0, takes=1.05
        ),
    )


@pytest.mark.parametrize(
    ("old", "new", "line", "words"),
    [
        (
            'name = "anode"',
            'name = "Heater"',
            'name = "Heater"',
            '[[board.net]] 2 of board 1 name is there twice: "Heater" (capitals do not '
            "count); choose another",
        ),
        (
            'text = "B+"',
            'text = "B+"\nat = [1.0, 1.0]',
            'text = "B+"',
            "[[board.net]] 2 of board 1 text names the place that `at` names too; keep one of them",
        ),
        (
            'text = "B+"\n',
            "",
            "[[board.net]]",
            "[[board.net]] 2 of board 1 names no place: give at = [x, y] on its copper, or text "
            "that is on it",
        ),
        (
            "[0.0, 250.0]",
            "[250.0, 0.0]",
            "volts = [250.0, 0.0]",
            "[[board.net]] 2 of board 1 volts must be [lowest, highest]; got [250, 0]",
        ),
        (
            "[0.0, 250.0]",
            '"250 V"',
            'volts = "250 V"',
            "[[board.net]] 2 of board 1 volts must be a plain number of volts, or [lowest, "
            'highest]; got "250 V"',
        ),
        (
            "amperes = 0.3",
            "amperes = 0.25",
            "[[board.net.load]]",
            "[[board.net]] 1 of board 1 load has currents that do not balance: 0.05 A enter it "
            "and do not leave; the feed is a load too",
        ),
        (
            "volts = 6.3",
            "volts = 6.3\namperes = 0.3",
            "amperes = 0.3",
            "[[board.net]] 1 of board 1 amperes is given by the net's loads already; keep one of "
            "them",
        ),
        (
            'name = "V1"',
            'name = "feed"',
            'name = "feed"',
            '[[board.net.load]] 2 of net 1 of board 1 name is there twice: "feed" (capitals '
            "do not count); choose another",
        ),
        (
            "contact = 1.5",
            "contact = 0",
            "contact = 0",
            "[[board.net.load]] 2 of net 1 of board 1 contact must be a plain number in mm, above "
            "0 and at most 100; got 0",
        ),
    ],
)
def test_a_mistake_is_reported_with_its_place(
    tmp_path: Path, old: str, new: str, line: str, words: str
) -> None:
    assert one(tmp_path, old, new) == f"{line} | {words}"


def test_a_column_that_the_table_has_not(tmp_path: Path) -> None:
    (message,) = refused(tmp_path, job(rules='[rules]\nspacing = "B9"\n'))
    assert '[rules] spacing must be "B1", "B2",' in message


def test_faults_of_several_nets_are_reported_together(tmp_path: Path) -> None:
    text = job(NETS.replace("amperes = 0.3", "amperes = 0.1").replace('text = "B+"', 'tekst = ""'))
    assert len(refused(tmp_path, text)) == 3
