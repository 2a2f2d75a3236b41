"""The review as a person uses it, in a real browser."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
import shapely

from millprep import job
from millprep.model.set_of_programs import nets_of
from millprep.report.palette import scheme
from millprep.report.review import LAYERS
from tests.conftest import EXAMPLES
from tests.helpers.browser_walk import walk
from tests.helpers.chromium import Opened, open_sheet
from tests.helpers.invented_set import invented
from tests.helpers.trails import FIRST

if TYPE_CHECKING:
    from playwright.sync_api import Browser

SET = invented(4)
SCREEN_LIGHT, SCREEN_DARK = scheme("light"), scheme("dark")


def rgb(colour: str) -> tuple[int, int, int]:
    return (int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16))


def picture(opened: Opened) -> str:
    found: str = opened.canvas.evaluate("(canvas) => canvas.toDataURL()")
    return found


def set_time(opened: Opened, seconds: float) -> None:
    opened.page.locator("#review-time").fill(f"{seconds:.1f}")
    opened.settle()


def shown_at_pointer(opened: Opened) -> str:
    return " ".join(opened.page.locator("#review-cutter span").all_inner_texts())


@pytest.mark.parametrize("layer", [key for key, _, _ in LAYERS])
def test_a_layer_can_be_switched(opened: Opened, layer: str) -> None:
    box = opened.page.locator(f'[data-layer="{layer}"]')
    was = box.is_checked()
    first = picture(opened)
    box.set_checked(not was)
    opened.settle()
    second = picture(opened)
    assert second != first
    box.set_checked(was)
    opened.settle()
    assert picture(opened) == first


def floating(opened: Opened, x: float, y: float, light: dict[str, str] = SCREEN_LIGHT) -> bool:
    """Whether lines of copper on laminate are around a place."""
    scale = opened.view()[2]
    seen = {opened.colour(x + k / scale, y) for k in range(8)}
    return rgb(light["laminate"]) in seen and rgb(light["copper"]) in seen


def test_copper_paths_and_laminate_have_their_colours(opened: Opened) -> None:
    (placement,) = SET.layout.placements
    rail = placement.pose.point((80.0, 5.0))
    # at first what a person will get
    assert opened.colour(*rail) == rgb(SCREEN_LIGHT["copper"])
    assert floating(opened, 100.0, 106.0)
    opened.page.locator('[data-layer="asCut"]').uncheck()
    opened.settle()
    assert opened.colour(*rail) == rgb(SCREEN_LIGHT["copper"])
    assert opened.colour(100.0, 106.0) == rgb(SCREEN_LIGHT["laminate"])


def test_copper_as_drawn_is_wiped_over_copper_as_cut(opened: Opened) -> None:
    (placement,) = SET.layout.placements
    left, right = (placement.pose.point((x, 2.5)) for x in (5.0, 180.0))
    assert floating(opened, *left)
    opened.page.locator("#review-wipe").fill("50")
    opened.settle()
    # no floating copper is drawn
    assert opened.colour(*left) == rgb(SCREEN_LIGHT["laminate"])
    assert floating(opened, *right)


def test_who_follows_the_cutter_sees_paths_and_then_what_is_left(opened: Opened) -> None:
    paths = opened.page.locator('[data-layer="paths"]')
    assert not paths.is_checked()
    set_time(opened, 20.0)
    assert paths.is_checked()
    (placement,) = SET.layout.placements
    rail = placement.pose.point((80.0, 5.0))
    assert opened.colour(*rail) == rgb(SCREEN_LIGHT["copper"])
    opened.page.locator("#review-end").click()
    opened.settle()
    assert not paths.is_checked()
    assert opened.colour(*rail) == rgb(SCREEN_LIGHT["copper"])


def test_a_bar_goes_to_the_beginning_of_its_program(memory: Opened) -> None:
    bars = memory.page.locator("#review-bars button")
    programs = memory.page.locator("#review-program option")
    assert bars.count() == programs.count() - 1
    bars.nth(2).click()
    memory.settle()
    assert programs.nth(3).inner_text() in shown_at_pointer(memory)


def test_one_box_finds_nets_pieces_holes_and_programs(memory: Opened) -> None:
    box, hits = memory.page.locator("#review-find"), memory.page.locator("#review-hits .hit")
    box.fill("gnd")
    assert hits.first.inner_text().startswith("GND")
    before = memory.view()
    hits.first.click()
    memory.settle()
    assert memory.view() != before
    box.fill("h12")
    assert hits.first.inner_text().startswith("h12")
    hits.first.click()
    memory.settle()
    assert memory.fact("Diameter")
    box.fill("profile")
    hits.first.click()
    memory.settle()
    assert "profile" in memory.page.locator("#review-program option:checked").inner_text()
    box.fill("no such name")
    assert hits.count() == 0
    assert "Nothing" in memory.page.locator("#review-found").inner_text()


def test_the_other_side_is_turned_over_about_x(opened: Opened) -> None:
    (placement,) = SET.layout.placements
    rail = placement.pose.point((80.0, 5.0))
    x, y = opened.at(*rail)
    opened.page.locator('[value="components"]').check()
    opened.settle()
    turned = opened.at(*rail)
    assert turned[0] == pytest.approx(x)
    assert abs(turned[1] - y) > 50
    assert opened.colour(*rail) == rgb(SCREEN_LIGHT["copper"])


@pytest.mark.parametrize(("name", "place"), [("F2", (37.0, 80.0)), ("F3", (-3.0, 30.0))])
def test_a_click_on_a_finding_centres_its_place(
    opened: Opened, name: str, place: tuple[float, float]
) -> None:
    opened.page.locator(f'[data-finding="{name}"]').click()
    opened.settle()
    x, y, scale, *_ = opened.view()
    assert (x, y) == pytest.approx(place, abs=1e-6)
    assert scale >= 12
    chosen = opened.page.locator('[aria-current="true"]')
    assert chosen.get_attribute("data-finding") == name


def test_the_plan_shows_a_finding_in_the_review(opened: Opened) -> None:
    link = opened.page.locator('.first [data-show="F2"]')
    link.scroll_into_view_if_needed()
    link.click()
    opened.settle()
    x, y, scale, *_ = opened.view()
    assert (x, y) == pytest.approx((37.0, 80.0), abs=1e-6)
    assert scale >= 12
    assert opened.page.evaluate("document.activeElement.id") == "review-canvas"
    box = opened.canvas.bounding_box()
    assert box is not None
    assert 0 <= box["y"] < 200


def test_a_finding_without_a_place_is_no_button(opened: Opened) -> None:
    assert opened.page.locator('[data-finding="F1"]').count() == 0
    assert "Text on copper is readable." in opened.page.locator("#review-findings").inner_text()


@pytest.mark.parametrize(
    ("program", "seconds"),
    [
        ("spoilboard/blank-1-*-bore-1.0.ngc", 41.7),
        ("blank-1/pass-1/*-register-and-bore-1.0.ngc", 101.3),
        ("blank-1/pass-1/*-isolate-vee.ngc", 2.0),
        ("blank-1/pass-1/*-isolate-vee.ngc", 1234.5),
        ("blank-1/pass-1/*-isolate-vee.ngc", 1111.1),
        ("blank-1/pass-2/*-isolate-vee.ngc", 900.1),
        ("blank-1/pass-2/*-profile-2.0.ngc", 300.3),
    ],
)
def test_the_cutter_stands_where_the_program_has_it(
    memory: Opened, memory_board: Path, program: str, seconds: float
) -> None:
    (found,) = memory_board.glob(program)
    file = found.relative_to(memory_board).as_posix()
    plan = job.load(EXAMPLES / "memory-board.toml")
    report = json.loads((memory_board / "report.json").read_text("utf-8"))
    number = re.search(r"pass-(\d)", file)
    memory.page.select_option("#review-pass", number[1] if number else "0")
    memory.page.select_option("#review-program", label=file)
    set_time(memory, seconds)
    # a head's "set Z zero with it … at X… Y…" tells where the machine stands at the start
    head = re.search(r"X([\d.-]+) Y([\d.-]+)\)", (memory_board / file).read_text("ascii"))
    assert head
    start = (float(head[1]), float(head[2]), plan.machine.clearance)
    rows = [*report["bed"], *(p for each in report["passes"] for p in each["programs"])]
    (row,) = [r for r in rows if r["file"] == file]
    there = walk(memory_board / file, start, plan.machine.rapid, seconds, row["seconds"])
    words = shown_at_pointer(memory).replace("−", "-")
    assert file in words
    assert f"line {there.line} " in words
    place = re.search(r"X (\S+) Y (\S+) Z (\S+)", words)
    assert place
    assert [float(v) for v in place.groups()] == pytest.approx(there[:3], abs=2e-3)
    if number and there.z < 0:
        (pose,) = [p["blank_to_machine"] for p in report["passes"] if p["number"] == int(number[1])]
        x, y = there.x - pose[2], there.y - pose[5]
        assert memory.colour(x, y) == rgb(SCREEN_LIGHT["ink"])


def test_times_are_those_of_the_sheet(memory: Opened, memory_board: Path) -> None:
    report = json.loads((memory_board / "report.json").read_text("utf-8"))
    seconds = sum(p["seconds"] for p in report["passes"][0]["programs"])
    memory.page.select_option("#review-pass", "1")
    clock = memory.page.locator("#review-clock").inner_text()
    hours, minutes, rest = clock.split(" of ")[1].split(":")
    assert int(hours) * 3600 + int(minutes) * 60 + float(rest) == pytest.approx(seconds, abs=1)


def test_from_move_to_move(opened: Opened) -> None:
    opened.page.select_option("#review-pass", "1")
    opened.page.select_option("#review-program", label=SET.programs[1].file)
    set_time(opened, 0.0)
    move = SET.programs[1].moves
    for step in range(3):
        opened.page.locator("#review-on").click()
        x, y, z = move[step].x, move[step].y, move[step].z
        assert f"X {x:.4f} Y {y:.4f} Z {z:.4f}" in shown_at_pointer(opened).replace("−", "-")
    opened.page.locator("#review-back").click()
    assert f"X {move[1].x:.4f} Y {move[1].y:.4f}" in shown_at_pointer(opened)
    opened.page.locator("#review-end").click()
    assert "Finished board shown" in shown_at_pointer(opened)


def test_it_runs_and_holds(opened: Opened) -> None:
    opened.page.locator("#review-speed").select_option(label="×600")
    play = opened.page.locator("#review-play")
    play.click()
    opened.page.wait_for_function(
        "() => Number(document.getElementById('review-time').value) > 30", timeout=20_000
    )
    play.click()
    opened.settle()
    held = opened.page.locator("#review-time").input_value()
    opened.page.wait_for_timeout(150)
    assert opened.page.locator("#review-time").input_value() == held


def test_programs_of_one_pass_only(opened: Opened) -> None:
    opened.page.select_option("#review-pass", "2")
    names = opened.page.locator("#review-program option").all_inner_texts()
    assert names[1:] == [p.file for p in SET.programs if p.mill_pass == 2]


def test_a_path_tells_its_file_line_cutter_depth_and_feed(opened: Opened, two_passes: Path) -> None:
    program = SET.programs[0]
    pose = SET.passes[0].pose.inverse()
    index = max(
        (i for i in range(3, 400) if program.moves[i].motion == "feed"),
        key=lambda i: math.dist(program.moves[i][1:3], program.moves[i - 1][1:3]),
    )
    a, b = (pose.point(program.moves[i][1:3]) for i in (index - 1, index))
    middle = ((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
    opened.page.locator('[data-layer="paths"]').check()
    opened.zoom_to(*middle, 40)
    opened.page.mouse.move(*opened.at(*middle))
    opened.settle()
    assert opened.fact("File") == [program.file]
    assert opened.fact("Line") == [str(FIRST + index)]
    assert opened.fact("Cutter")[0].startswith("vee30: vee, 30°")
    assert "0.120 mm" in opened.fact("Depth")
    assert opened.fact("Feed") == ["300 mm/min"]
    (command,) = opened.fact("Resume here")
    folder = two_passes.parent.name
    assert command.startswith(f"millprep resume {folder} {program.file} --near=")


def test_copper_tells_its_net_and_its_narrowest_gap(opened: Opened) -> None:
    (placement,) = SET.layout.placements
    piece = placement.board.pieces[5]
    at = placement.pose.point(piece.at)
    parts = next(b.as_cut for b in SET.blanks if b.as_cut).parts
    mine = next(part for part in parts if part.pieces == ((0, piece.id),))
    others = [p.shape for p in parts if p.pieces and p is not mine]
    gap = shapely.distance(mine.shape, shapely.MultiPolygon(others))
    opened.zoom_to(*at, 20)
    opened.page.mouse.move(*opened.at(*at))
    opened.settle()
    assert opened.fact("Net") == [nets_of(SET.blanks)[0, piece.id]]
    assert opened.fact("Piece") == [piece.id]
    (said,) = opened.fact("Narrowest gap as cut")
    assert float(said.split(" mm")[0]) == pytest.approx(gap, abs=0.011)


def test_copper_tells_its_joins(memory: Opened, memory_board: Path) -> None:
    report = json.loads((memory_board / "report.json").read_text("utf-8"))
    joins = [j for j in report["joins"] if j["piece"] == "c3"]
    assert joins
    x, y = joins[0]["at"]
    memory.zoom_to(x, y, 30)
    # the copper lies a groove's width beside the join, on one side of it
    for dy in (-1.0, 1.0):
        memory.page.mouse.move(*memory.at(x, y + dy))
        memory.settle()
        if memory.fact("Piece") == ["c3"]:
            break
    assert memory.fact("Piece") == ["c3"]
    assert memory.fact("Joins") == [str(len(joins))]
    stands = min(j["tolerance_electrical"] for j in joins)
    assert memory.fact("Misalignment tolerated")[0] == f"up to {stands:.3f} mm"
    assert "on 99.7 % of blanks" in memory.fact("Expected misalignment")[0]


def test_a_hole_tells_its_size_and_its_cutter(opened: Opened) -> None:
    hole = SET.blanks[0].cuts.holes[10]
    opened.zoom_to(*hole.at, 20)
    opened.page.mouse.move(*opened.at(*hole.at))
    opened.settle()
    assert "1.100 mm" in opened.fact("Diameter")
    assert "drill-1.1" in opened.fact("Cutter")


def distance(opened: Opened) -> float:
    words = opened.page.locator("#review-distance").inner_text()
    found = re.match(r"([\d.]+) mm apart", words)
    assert found, words
    return float(found[1])


def test_a_measured_distance_between_holes(opened: Opened) -> None:
    one, other = SET.blanks[0].cuts.holes[0].at, SET.blanks[0].cuts.holes[200].at
    opened.page.locator("#review-measure").click()
    for at in (one, other):
        opened.zoom_to(*at, 12)
        x, y = opened.at(*at)
        opened.page.mouse.click(x + 2, y - 2)
    opened.settle()
    assert distance(opened) == pytest.approx(math.dist(one, other), abs=0.01)


def test_a_measured_distance_between_edges(opened: Opened) -> None:
    """Across a rail 2.4 mm wide, at a scale where a pixel is 0.02 mm."""
    (placement,) = SET.layout.placements
    opened.page.locator("#review-measure").click()
    middle = placement.pose.point((80.0, 5.0))
    opened.zoom_to(*middle, 50)
    for dy in (-1.2, 1.2):
        x, y = opened.at(middle[0], middle[1] + dy)
        opened.page.mouse.click(x, y + 3)
    assert distance(opened) == pytest.approx(2.4, abs=0.01)


def test_with_shift_the_point_stays_where_it_is(opened: Opened) -> None:
    opened.page.locator("#review-measure").click()
    hole = SET.blanks[0].cuts.holes[0].at
    opened.zoom_to(*hole, 40)
    x, y = (round(v) for v in opened.at(*hole))
    opened.page.keyboard.down("Shift")
    opened.page.mouse.click(x, y)
    opened.page.mouse.click(x + 30, y - 40)
    opened.page.keyboard.up("Shift")
    assert distance(opened) == pytest.approx(50 / opened.view()[2], abs=0.001)


def test_typed_points_are_measured_and_nonsense_is_marked(opened: Opened) -> None:
    for name, value in (("x0", "1.5"), ("y0", "2"), ("x1", "4,5"), ("y1", "6")):
        opened.page.locator(f"#review-{name}").fill(value)
    assert distance(opened) == pytest.approx(5.0)
    opened.page.locator("#review-x0").fill("over there")
    assert opened.page.locator("#review-x0").get_attribute("aria-invalid") == "true"


def test_the_keyboard_alone_will_do(opened: Opened) -> None:
    page = opened.page
    opened.canvas.focus()
    x, y, scale, up, *_ = opened.view()
    # which figure of the view a key changes, and which way
    for key, which, way in (
        ("ArrowRight", 0, 1), ("ArrowUp", 1, 1), ("+", 2, 1), ("v", 3, -up), ("v", 3, up),
    ):  # fmt: skip
        before = opened.view()[which]
        page.keyboard.press(key)
        opened.settle()
        assert (opened.view()[which] - before) * way > 0, key
    assert opened.fact("On the blank")
    page.keyboard.press("0")
    opened.settle()
    assert opened.view()[:3] == pytest.approx((x, y, scale))
    for key in ("m", "Enter", "ArrowRight", "Enter"):
        page.keyboard.press(key)
    opened.settle()
    assert distance(opened) == pytest.approx(60 / scale, abs=2.0)
    page.keyboard.press("Escape")
    page.keyboard.press(",")
    opened.settle()
    assert "line" in shown_at_pointer(opened)


def test_dragging_moves_the_drawing_with_the_pointer(opened: Opened) -> None:
    opened.zoom_to(100.0, 60.0, 10)
    x, y = opened.at(100.0, 60.0)
    mouse = opened.page.mouse
    mouse.move(x, y)
    mouse.down()
    mouse.move(x + 80, y + 30, steps=8)
    mouse.up()
    opened.settle()
    assert opened.at(100.0, 60.0) == pytest.approx((x + 80, y + 30), abs=0.01)


def test_light_and_dark(opened: Opened) -> None:
    assert floating(opened, 100.0, 106.0)
    opened.page.emulate_media(color_scheme="dark")
    opened.settle()
    assert floating(opened, 100.0, 106.0, SCREEN_DARK)
    opened.page.locator("#review-light").click()
    opened.settle()
    assert floating(opened, 100.0, 106.0)


@pytest.mark.parametrize("width", [320, 390, 768, 1280])
def test_nothing_sticks_out_of_a_narrow_window(opened: Opened, width: int) -> None:
    opened.page.set_viewport_size({"width": width, "height": 700})
    opened.settle()
    assert opened.page.evaluate("document.documentElement.scrollWidth") <= width
    canvas = opened.canvas.bounding_box()
    assert canvas is not None
    assert canvas["height"] >= 200


def test_a_blank_of_many_copies(started: Browser, indicators: Path) -> None:
    """Copper of every copy is drawn from one telling of the board, each in its own place."""
    opened = open_sheet(started, indicators / "sheet.html")
    report = json.loads((indicators / "report.json").read_text("utf-8"))
    here = [board for board in report["boards"] if board["blank"] == 1]
    assert len(here) > 5
    for board in here:
        a, b, c, d, e, f = board["drawing_to_blank"]
        piece = board["pieces"][-1]
        x, y = piece["at"]
        opened.page.mouse.move(*opened.at(a * x + b * y + c, d * x + e * y + f))
        opened.settle()
        assert opened.fact("Board") == [f"{board['name']}, copy {board['copy']}"]
        assert opened.fact("Piece") == [piece["id"]]
        assert opened.fact("Net") == [piece["net"]]
    assert opened.said == opened.asked == []
    opened.page.context.close()
