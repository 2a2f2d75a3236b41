from __future__ import annotations

from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from millprep.model.blank import Box
from millprep.model.cut import Cuts
from millprep.model.finding import Finding
from millprep.model.job.keys import InputFile
from millprep.model.milling_pass import Holding
from millprep.model.set_of_programs import CutSet
from millprep.report.sheet import MOST_TO_DECIDE, findings_text, kept, sheet
from tests.helpers.changed_set import running, with_blank
from tests.helpers.invented_set import VEE, invented, refused

VOID = {"meta", "img", "br", "hr", "link", "input"}
HOSTILE = "</td><script>alert('x')</script>\"&{{ 7777 * 11 }}"


class Reader(HTMLParser):
    """Strict about nesting: every element is closed by its own end tag."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.links: list[str] = []
        self.seen: set[str] = set()
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.seen.add(tag)
        self.links += [value or "" for name, value in attrs if name in ("href", "src")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("script", "style"):
            self.text += data


def read(text: str) -> Reader:
    reader = Reader()
    reader.feed(text)
    reader.close()
    assert reader.open == []
    return reader


@pytest.fixture(scope="module")
def two_passes() -> CutSet:
    return replace(invented(4), locating="pins")


def test_the_reader_sees_bad_nesting() -> None:
    with pytest.raises(AssertionError):
        read("<p><b>x</p></b>")


def test_the_sheet_is_html_5(two_passes: CutSet) -> None:
    text = sheet(two_passes)
    assert text.startswith('<!DOCTYPE html>\n<html lang="en">')
    assert text.endswith("</html>\n")
    assert {"title", "h1", "table", "svg", "ol"} <= read(text).seen


def test_it_asks_for_nothing_from_outside(two_passes: CutSet) -> None:
    text = sheet(two_passes)
    links = read(text).links
    assert set(links) == {"#plan", "#review"}
    assert "http:" not in text.replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert "https:" not in text
    assert "@import" not in text
    assert "url(" not in text


def test_cautions_come_before_anything_to_do(two_passes: CutSet) -> None:
    text = read(sheet(two_passes)).text
    first = text.index("Set up")
    for caution in (
        "respirator", "never with compressed air", "Eye protection", "Rotating spindle",
        "Lethal voltages", "keep their charge", "deburr", "Local codes and licensed practice",
        "follow the standard itself",
    ):  # fmt: skip
        assert text.index(caution) < first


def test_order_cutters_depths_and_feeds(two_passes: CutSet) -> None:
    text = read(sheet(two_passes)).text
    at = 0
    for program in two_passes.programs:
        folder, _, file = program.file.rpartition("/")
        if f"The files are in {folder}/." in text[at:]:
            at = text.index(f"The files are in {folder}/.", at)
        at = text.index(file, at)
    assert text.count("fit vee30: vee, ") == 2
    assert "300 / 100" in text
    assert "1 min 02 s" in text
    assert "set 5f0c2a91d3b7" in text


def test_set_up_of_the_first_and_second_pass(two_passes: CutSet) -> None:
    text = sheet(two_passes).replace("\N{NO-BREAK SPACE}", " ")
    first, second = text.split("<h2>Blank 1, pass 2 of 2", 1)
    assert "Remove the pins." in first
    assert "its lower-left corner at X 15  Y 30" in first
    assert "X 0 to 12, Y 60 to 90; X 290 to 300, Y 70 to 100, 12 mm above the copper" in first
    assert "drilled now for pass 2" in first
    assert "Take these clamps off: X 0 to 12" in second
    assert "Put the pins in the spoilboard" in second
    assert "keep the zero of the pass before" in second
    assert 'touch off on the copper at <b class="large">X 20  Y 34</b>' in second
    assert "again after every change of cutter" in second
    assert "mm on the left" in second


def test_the_pass_before_may_be_any(two_passes: CutSet) -> None:
    """Where copies are left out, the one between may be needless."""
    first, second = two_passes.passes
    less = with_blank(two_passes, passes=(first, replace(second, number=3)))
    third = sheet(less).replace("\N{NO-BREAK SPACE}", " ").split("<h2>Blank 1, pass 3 of 3", 1)[1]
    assert "Take these clamps off: X 0 to 12" in third


def test_what_else_is_needed_is_listed(two_passes: CutSet) -> None:
    text = sheet(two_passes)
    assert "Also: a spoilboard" in text
    also = text.split("Also: ")[1].split("</p>")[0]
    assert f"{len(two_passes.clamps)} clamps" in also
    assert "supports as high as the spoilboard" in also
    assert "a lens" not in also


def test_a_blank_that_is_measured_needs_no_pins(two_passes: CutSet) -> None:
    text = sheet(replace(two_passes, locating="measure"))
    assert "Measure where its registration holes are" in text
    assert "pins" not in read(text).text.replace("Enter pins", "").replace("Esc unpins", "")


def test_no_clamps_means_tape(two_passes: CutSet) -> None:
    assert "hold it flat with tape" in sheet(replace(two_passes, clamps=()))
    taped = replace(two_passes, clamps=(), tape=True)
    covered = "Cover the spoilboard with double-sided tape, all of one thickness."
    assert f"{covered} Cut it free over holes for pins." in sheet(taped)
    measured = sheet(replace(taped, locating="measure"))
    assert covered in measured
    assert "Cut it free" not in measured
    assert "hold it flat with tape" not in sheet(taped)


HELD = Holding(
    2.0, 0.0123, 0.025, (40.0, 50.0), 0.0, (Box(110, -15, 180, 4),),
    places=np.array([(40.0, 50.0, 0.0123, 0.025), (60.0, 50.0, 0.004, 0.025)]),
)  # fmt: skip


def holding(cut_set: CutSet, of_passes: Holding) -> CutSet:
    passes = (replace(one, holding=of_passes) for one in cut_set.passes)
    return with_blank(cut_set, passes=tuple(passes))


def test_how_well_the_blank_is_held_and_where_clamps_may_go(two_passes: CutSet) -> None:
    text = read(sheet(holding(two_passes, HELD))).text.replace("\N{NO-BREAK SPACE}", " ")
    assert "the worst place lifts 0.012 mm under a pull of 2 N; 0.025 mm is allowed there" in text
    assert "do no harm where the drawing has room for them" in text
    loose = read(sheet(holding(two_passes, replace(HELD, lift=0.4, share=0.5)))).text
    loose = loose.replace("\N{NO-BREAK SPACE}", " ")
    assert "lifts too much; see finding blank-not-held" in loose
    assert "do no harm anywhere at X 110 to 180, Y −15 to 4" in loose


def test_strips_of_tape_are_stuck_before_the_blank_is_laid(two_passes: CutSet) -> None:
    taped = replace(two_passes, tape=(Box(10, 20, 200, 40),))
    text = read(sheet(taped)).text.replace("\N{NO-BREAK SPACE}", " ")
    first, second = text.split("Blank 1, pass 2 of 2 ", 1)
    assert first.index("Stick strips of double-sided tape") < first.index("Lay blank 1")
    assert "X 10 to 200, Y 20 to 40. Cut it free over holes for pins." in first
    assert "The tape stays where it is." in second
    vacuum = read(sheet(replace(two_passes, vacuum=(Box(10, 20, 200, 40),)))).text
    assert "Switch the vacuum on at X" in vacuum


def test_a_vacuum_under_the_whole_table_is_switched_on_in_every_pass(two_passes: CutSet) -> None:
    words = "Switch the vacuum on; it must hold all of the blank."
    bare = replace(two_passes, clamps=(), tape=False)
    nothing = "Nothing is planned to hold the blank in this pass"
    counts = [
        (text.count(words), text.count(nothing))
        for text in (read(sheet(replace(bare, vacuum=on))).text for on in (True, False))
    ]
    assert counts == [(2, 0), (0, 2)]


def test_where_more_clamps_have_no_room_none_are_proposed(two_passes: CutSet) -> None:
    loose = replace(HELD, lift=0.4, share=0.5, room=())
    text = read(sheet(holding(two_passes, loose))).text
    assert "lifts too much; see finding blank-not-held." in text
    assert "More clamps do no harm" not in text


def test_flatness_is_checked_before_isolation(two_passes: CutSet) -> None:
    text = sheet(replace(two_passes, flatness=0.03))
    assert (
        text.count('<span class="tick"></span> Before isolation: the copper is within ± 0.03') == 2
    )
    for number in (1, 2):
        assert f"millprep probe SET --pass {number}" in read(text).text
    assert "Before isolation" not in sheet(two_passes)


def test_a_board_that_its_tabs_alone_hold_is_named_at_the_program(two_passes: CutSet) -> None:
    words = "After 03-profile-mill-2.ngc the board is held by tabs alone"
    first, second = read(sheet(two_passes)).text.split("Blank 1, pass 2 of 2 ", 1)
    # the first pass cuts only a part of its edge
    assert words not in first
    assert words in second
    assert "One tab or none" not in second
    on_tape = replace(two_passes, tape=(Box(20, 40, 60, 60),))
    assert words not in read(sheet(on_tape)).text
    (blank,) = two_passes.blanks
    profiles = tuple(replace(one, tabs=one.tabs[:1]) for one in blank.cuts.profiles)
    weak = with_blank(two_passes, cuts=replace(blank.cuts, profiles=profiles))
    assert "One tab or none is all that holds" in read(sheet(weak)).text


def test_a_board_that_an_earlier_pass_cuts_out_is_named_there(two_passes: CutSet) -> None:
    """The second pass cuts no edge, so the first cuts the last of it."""
    words = "the board is held by tabs alone"
    loose = replace(two_passes, clamps=())
    first, second = read(sheet(loose)).text.split("Blank 1, pass 2 of 2 ", 1)
    assert (words in first, words in second) == (False, True)
    last = [p for p in loose.programs if p.mill_pass == 2 and "profile" in p.works]
    without = running(loose, (p for p in loose.programs if p not in last))
    first, second = read(sheet(without)).text.split("Blank 1, pass 2 of 2 ", 1)
    assert (words in first, words in second) == (True, False)


def test_programs_of_the_bed_come_first(two_passes: CutSet) -> None:
    pins = replace(
        two_passes.programs[1], file="bed/01-bore-pins.ngc", mill_pass=0, zero_on="the bed",
        start=(1.0, 2.5, 5.0), notes=("press the pins in",),
    )  # fmt: skip
    with_bed = with_blank(two_passes, spoilboard=(pins,))
    text = sheet(with_bed)
    assert text.index("bed/01-bore-pins.ngc") < text.index("<h2>Blank 1, pass 1 of 2")
    assert "Take the blank off." in text
    assert "Once they have run: millprep ran SET --spoilboard" in read(text).text
    said = text.replace("\N{NO-BREAK SPACE}", " ")
    assert "Z: touch off on the bed at X 1  Y 2.5, again after" in said
    assert "Press the pins in." in said
    # a set that bores holes for pins means them, said or not
    assert "Put the pins in the spoilboard" in sheet(replace(with_bed, locating=None))
    assert "Take the blank off." not in sheet(two_passes)


def test_findings_with_place_and_close_up(two_passes: CutSet) -> None:
    text = read(sheet(two_passes)).text.replace("\N{NO-BREAK SPACE}", " ")
    assert text.index("F3") < text.index("F2") < text.index("F1")
    assert "board memory, copy 1; X 27 Y 20 in the drawing" in text.replace("  ", " ")
    assert "blank 1; pass 1; X 12 Y 60 on the machine" in text.replace("  ", " ")
    first, details = sheet(two_passes).split('<div class="details">')
    assert 'data-show="F2"' in first
    assert "<td>F1</td>" not in first  # a note, which stands in the details
    assert "<td>F1</td>" in details


def test_no_more_findings_on_the_first_page_than_fit(two_passes: CutSet) -> None:
    warned = replace(two_passes.findings[1], severity="warn")
    first, details = sheet(replace(two_passes, findings=(warned,) * 20)).split(
        '<div class="details">'
    )
    assert first.count("<td>warning</td>") == MOST_TO_DECIDE
    assert "The details list 12 more." in first
    assert details.count("<td>warning</td>") == 20


def test_programs_from_several_folders_are_named_in_full(two_passes: CutSet) -> None:
    odd = replace(two_passes.programs[0], file="joined/all.ngc")
    text = sheet(running(two_passes, (odd, *two_passes.programs[1:])))
    assert "<code>joined/all.ngc</code>" in text
    assert "<code>blank-1/pass-1/02-drill-drill-1.1.ngc</code>" in text
    assert "<code>02-drill-drill-1.1.ngc</code>" in text  # of pass 2


def test_readings_have_boxes_to_write_in(two_passes: CutSet) -> None:
    text = sheet(two_passes)
    first, second = text.split("<h2>Blank 1, pass 2 of 2", 1)
    assert 'class="write"' not in first
    # X and Y of each hole that pass 2 is found by
    assert second.count('class="write"') == 2 * len(two_passes.passes[1].registration)


def test_a_program_that_does_not_spin_says_so(two_passes: CutSet) -> None:
    first, *others = two_passes.programs
    dry = replace(first, works=("dry-run",), spins=False, spindle=0.0, depth=0.0)
    text = sheet(running(two_passes, (dry, *others)))
    assert '<td class="n large"></td><td class="n">off</td>' in text


def test_hostile_names_stay_words() -> None:
    whole = invented(1)
    vee = replace(VEE, name=HOSTILE)
    program = replace(whole.programs[0], cutter=vee, file=HOSTILE)
    bad = Finding(code="odd", severity="warn", message=HOSTILE, board=HOSTILE, file=HOSTILE, line=3)
    odd = replace(
        with_blank(running(whole, (program,)), cuts=Cuts()),
        job=HOSTILE, id=HOSTILE, cutters=(vee,),
        machine=replace(whole.machine, name=HOSTILE.replace("/", "")),
        inputs=(InputFile(HOSTILE, "c" * 64),), findings=(bad,), derived_from=HOSTILE,
    )  # fmt: skip
    text = sheet(odd)
    reader = read(text)
    # the page's own data and two scripts, and no other
    assert text.count("<script") == 3
    assert "<script>alert" not in text
    assert "85547" not in text
    assert reader.text.count("{{ 7777 * 11 }}") >= 8


def test_a_coordinate_is_not_torn_from_its_axis() -> None:
    assert kept("at X 2  Y −3.5, Z 0.") == "at X\u00a02  Y\u00a0−3.5, Z\u00a00."
    assert kept("MAX 2, X and Y") == "MAX 2, X and Y"


def test_findings_text_of_a_refused_run() -> None:
    assert findings_text(refused()) == (
        "Refused: lamp sequencer, set 5f0c2a91d3b7.\n"
        "1 finding stops this job. No program was written.\n"
        "\n"
        "F1  STOP  gap-too-narrow\n"
        "    c3 and c4 stand 0.05 mm apart and no cutter fits. Move them apart.\n"
        "    Where: board memory, copy 1; X 27  Y 20 in the drawing.\n"
        "    Picture: previews/close-up-1.png\n"
    )
