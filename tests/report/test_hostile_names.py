"""Names out of drawings, netlists and jobs stay data in every kind of file."""

from __future__ import annotations

import csv
import io
import itertools
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser

import pytest
import shapely

from millprep.gcode.head import comment_text
from millprep.model.judged import Check, NetReason, Touch
from millprep.report import buzz_out
from millprep.report.scene import Area, Scene, Text
from millprep.report.sheet import sheet
from millprep.report.svg import svg
from millprep.report.words import plain
from tests.helpers.changed_set import with_copies
from tests.helpers.invented_set import invented
from tests.helpers.trails import with_trails

STARTS = [
    "=cmd|' /C calc'!A0", "+300 V", "-15V", "@SUM(A1)", "\t=1", "\r=1", "'=1", '"=1"', "{=1}",
    "a,=b", "</script><script>x()</script>", "<img src=x onerror=x()>", "]]><b>", "<!--",
    "&lt;&amp;&#x3c;", "{{7*7}}",
    "\" onload='x()'", "javascript:x()", "<svg/onload=x()>", "<![CDATA[",
]  # fmt: skip
ENDS = ["", ")(", ";M30", "!~?%", "\nG0 Z-9", "\x00\x18", "‮lamp", "💡", "é\u0301", "\\..\\..\\x"]
NAMES = [first + last for first, last in itertools.product(STARTS, ENDS)]


def test_there_are_two_hundred_names() -> None:
    assert len(set(NAMES)) == 200


@pytest.mark.parametrize("name", NAMES, ids=range(len(NAMES)))
def test_a_comment_of_a_program_is_plain_text(name: str) -> None:
    text = comment_text(name)
    assert text.isascii()
    assert text.isprintable()
    assert not set("()!~?%") & set(text)


@pytest.mark.parametrize("name", NAMES, ids=range(len(NAMES)))
def test_a_spreadsheet_takes_no_cell_for_a_formula(name: str) -> None:
    whole = invented(1)
    (placement,) = whole.blanks[0].placements
    placement = replace(placement, board=replace(placement.board, name=name))
    one, two = (Touch("c1", name, "h1", (x, 5.0), name) for x in (1.0, 2.0))
    check = Check(0, "continuity", one, two, "any time", NetReason(name))
    table = buzz_out.table_text(with_copies(whole, (placement,), (check,)))
    (row,) = csv.DictReader(io.StringIO(table, newline=""))
    shown = plain(name, len(name))
    for cell in ("board", "net_1", "net_2", "pin_1", "pin_2"):
        assert row[cell] in (shown, f"'{shown}")
        assert row[cell][:1] not in {"=", "+", "-", "@", "\t", "\r"}
    assert None not in row


@pytest.mark.parametrize("name", NAMES, ids=range(len(NAMES)))
def test_a_picture_stays_whole(name: str) -> None:
    board = Area((shapely.box(1, 1, 9, 9),), "ink", title=name)
    drawn = [
        svg(Scene((10.0, 10.0), title, (board, Text((1.0, 1.0), title, 2.0))))
        for title in (name, "lamp")
    ]
    tree, plain_tree = map(ET.fromstring, drawn)
    assert [element.tag for element in tree.iter()] == [
        element.tag for element in plain_tree.iter()
    ]


class Tags(HTMLParser):
    """Counts the elements of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.count: dict[str, int] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.count[tag] = self.count.get(tag, 0) + 1
        assert not any(key.startswith("on") for key, _ in attrs)


def tags(name: str) -> dict[str, int]:
    """How many elements of each kind the page of a set has whose job and net are called so."""
    whole = with_trails(invented(1))
    (blank,) = whole.blanks
    copies = tuple(replace(copy, nets=dict.fromkeys(copy.nets, name)) for copy in blank.copies)
    parser = Tags()
    parser.feed(sheet(replace(whole, job=name, blanks=(replace(blank, copies=copies),))))
    return parser.count


def test_the_page_has_the_same_elements_whatever_a_set_is_called() -> None:
    plain = tags("lamp")
    assert plain["script"] >= 1
    some = NAMES[5::23]
    assert {name: tags(name) for name in some} == dict.fromkeys(some, plain)
