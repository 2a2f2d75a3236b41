"""Names that would do harm do nothing, and the page can reach nothing."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from millprep.model.finding import Finding
from millprep.model.job.keys import InputFile
from millprep.model.set_of_programs import CutSet
from millprep.report.sheet import sheet
from tests.helpers.changed_set import running, with_blank
from tests.helpers.chromium import Opened, open_sheet
from tests.helpers.invented_set import VEE, invented
from tests.helpers.trails import with_trails

if TYPE_CHECKING:
    from playwright.sync_api import Browser

HOSTILE = [
    "</script><script>window.hit = 1</script>",
    "<img src=x onerror='window.hit = 1'>",
    '" onmouseover="window.hit = 1" x=\'',
    "{{ 7 * 7 }} ${window.hit = 1} $& $1 {gap}",
    "‮evil‬ \u200f \u202exob",
    "💡🗼 lamp 🔌",
    "__proto__",
    "constructor",
    "<!-- <script",
    "javascript:window.hit=1",
]


def spoilt(name: str) -> CutSet:
    whole = with_trails(invented(1))
    (blank,) = whole.blanks
    (copy,) = blank.copies
    board = replace(copy.placement.board, name=name)
    named = replace(
        copy, placement=replace(copy.placement, board=board), nets=dict.fromkeys(copy.nets, name)
    )
    laps = tuple(replace(lap, cutter=name) for lap in blank.cuts.laps)
    vee = replace(VEE, name=name)
    bad = Finding(
        code="odd", severity="warn", message=name, board=name, file=name, line=3, frame="blank",
        at=(20.0, 20.0), blank=1,
    )  # fmt: skip
    first, *others = whole.programs
    spoilt_blank = with_blank(
        running(whole, (replace(first, cutter=vee, file=name), *others)),
        copies=(named,), cuts=replace(blank.cuts, laps=laps),
    )  # fmt: skip
    return replace(
        spoilt_blank, job=name, id=name, cutters=(vee, *whole.cutters[1:]),
        inputs=(InputFile(name, "c" * 64),),
        findings=(bad,), derived_from=name,
    )  # fmt: skip


@pytest.fixture(params=HOSTILE)
def hostile(
    started: Browser, tmp_path: Path, request: pytest.FixtureRequest
) -> Iterator[tuple[Opened, str]]:
    file = tmp_path / "sheet.html"
    file.write_bytes(sheet(spoilt(request.param)).encode("utf-8", errors="replace"))
    one = open_sheet(started, file)
    yield one, request.param
    one.page.context.close()
    assert one.said == []
    assert one.asked == []


def test_hostile_names_do_nothing(hostile: tuple[Opened, str]) -> None:
    opened, name = hostile
    page = opened.page
    page.locator("[data-finding]").click()
    opened.settle()
    whole = invented(1)
    (placement,) = whole.layout.placements
    at = placement.pose.point(placement.board.pieces[3].at)
    page.keyboard.press("Escape")
    opened.zoom_to(*at, 20)
    page.mouse.move(*opened.at(*at))
    opened.settle()
    assert page.evaluate("window.hit") is None
    assert page.locator("script").count() == 3
    assert page.locator("#review img, #review script").count() == 0
    # what is no control character is shown as it is
    if not any(sign in name for sign in "\u202e\u200f"):
        assert opened.fact("Net") == [name]
        assert name in page.locator("#review-findings").inner_text()
        assert page.locator(".bar h1").inner_text() == name


def test_signs_that_turn_text_round_are_gone(started: Browser, tmp_path: Path) -> None:
    file = tmp_path / "sheet.html"
    file.write_text(sheet(spoilt("\u202exob")), "utf-8")
    opened = open_sheet(started, file)
    assert "\u202e" not in opened.page.content()
    opened.page.context.close()


REACH = {
    "fetch": "() => fetch('https://example.invalid/').then(() => 'out', () => 'blocked')",
    "picture": """() => new Promise((done) => {
        const image = new Image();
        image.onload = () => done('out');
        image.onerror = () => done('blocked');
        image.src = 'https://example.invalid/x.png';
    })""",
    "script": """() => {
        const script = document.createElement('script');
        script.textContent = "window.hit = 'out'";
        document.body.append(script);
        return window.hit ?? 'blocked';
    }""",
    "event": """() => {
        document.body.insertAdjacentHTML('beforeend', '<b id="x" onclick="window.hit=1">x</b>');
        document.getElementById('x').click();
        return window.hit ? 'out' : 'blocked';
    }""",
    "frame": """() => new Promise((done) => {
        document.addEventListener('securitypolicyviolation', () => done('blocked'));
        const frame = document.createElement('iframe');
        frame.src = 'https://example.invalid/';
        document.body.append(frame);
        setTimeout(() => done('out'), 3000);
    })""",
}


@pytest.mark.parametrize("way", REACH)
def test_the_policy_lets_nothing_out_or_in(started: Browser, two_passes: Path, way: str) -> None:
    opened = open_sheet(started, two_passes)
    seen = opened.page.evaluate(
        "() => { window.seen = 0; document.addEventListener('securitypolicyviolation', "
        "() => { window.seen += 1; }); }"
    )
    assert seen is None
    assert opened.page.evaluate(REACH[way]) == "blocked"
    assert opened.page.evaluate("window.seen") > 0, "it was something else that stopped it"
    opened.page.context.close()


def test_a_request_would_be_seen(started: Browser, tmp_path: Path) -> None:
    """The same page without its policy asks, and the test takes note."""
    file = tmp_path / "sheet.html"
    text = sheet(with_trails(invented(1))).replace("Content-Security-Policy", "nothing")
    file.write_text(text, "utf-8")
    opened = open_sheet(started, file)
    opened.page.evaluate(REACH["picture"])
    assert opened.asked == ["https://example.invalid/x.png"]
    opened.page.context.close()
