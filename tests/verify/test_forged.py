"""Forged programs in three sets, with table, figures and hashes redone: each one is refused.

What a forgery changes, a fault of the writer could change as well; the proof must see it in the
files alone, by the job that the set keeps.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import settings

from millprep.workflow.verify import verify
from tests.helpers.forged import SETS, Forged, made, refused_for, strokes

ISOLATE, DRILL, EDGE, DRY = r"isolate-", r"drill-", r"profile-", r"dry-run"
DEEP = "Z-1.9000"


@pytest.fixture(scope="module")
def sets(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Path]:
    """Every set, made once."""
    done: dict[str, Path] = {}

    def get(name: str) -> Path:
        if name not in done:
            done[name] = made(tmp_path_factory.mktemp("forged"), name)
        return done[name]

    return get


def cut_of(text: str, pattern: str, number: int = 0) -> str:
    """One cut of a program, of those that fit."""
    return [cut for cut in strokes(text)[1:] if re.search(pattern, cut, re.MULTILINE)][number]


def without(cut: str) -> str:
    """What is left of a program's cut when it is deleted: the end, if it was the last one."""
    end = re.search(r"^G0 X\S+ Y\S+\nG0 Z\S+\nM5\nM2\n", cut, re.MULTILINE)
    return "G0 Z5.0000\n" if end is None else "G0 Z5.0000\n" + end[0]


def moved(cut: str, by: float, letter: str = "X") -> str:
    """A cut that lies off along an axis; words that it does not change are said anew."""
    return re.sub(rf"{letter}(-?[\d.]+)", lambda m: f"{letter}{float(m[1]) + by:.4f}", cut)


def lap(number: int, change: Callable[[str], str]) -> Callable[[Forged], None]:
    """A forgery of one cut of isolation."""

    def forge(forged: Forged) -> None:
        def edit(text: str) -> str:
            cuts = [cut for cut in strokes(text)[1:] if "Z-0.0800" in cut]
            # numbers and combs are short
            mine = [cut for cut in cuts if cut.count("\n") > 10]
            cut = mine[number % len(mine)]
            return text.replace(cut, change(cut))

        forged.edit(ISOLATE, edit)

    return forge


def sub(pattern: str, old: str, new: str, count: int = 0) -> Callable[[Forged], None]:
    return lambda forged: forged.sub(pattern, old, new, count)


def profile_deleted(forged: Forged) -> None:
    def edit(text: str) -> str:
        for cut in strokes(text)[1:]:
            if "Z-0.4750" in cut:
                text = text.replace(cut, without(cut))
        return text

    forged.edit(EDGE, edit)


def last_tab(text: str, change: Callable[[re.Match[str]], str]) -> str:
    """Change the first tab of the last depth step."""
    pattern = r"^G1 Z-1\.2000.*\n(G1 \S+)( F\S+)\nG1 Z-1\.9000 F120\.0000\n"
    tabs = list(re.finditer(pattern, text, re.MULTILINE))
    tab = tabs[0]
    return text[: tab.start()] + change(tab) + text[tab.end() :]


def tab_milled_away(forged: Forged) -> None:
    forged.edit(EDGE, lambda text: last_tab(text, lambda m: f"{m[1]} F300.0000\n"))


def tab_narrower(forged: Forged) -> None:
    """The first tab of the last depth step ends 1.5 mm early."""

    def edit(text: str) -> str:
        at: dict[str, float] = {}
        lines = text.split("\n")
        for n, line in enumerate(lines):
            if line.startswith("G1 Z-1.2000") and lines[n + 2].startswith("G1 Z-1.9000"):
                way = lines[n + 1].split(" F")[0]
                letter, end = way[3], float(way[4:])
                early = end + 1.5 * (1 if at[letter] > end else -1)
                short = [f"G1 {letter}{early:.4f} F300.0000", f"G1 {DEEP} F120.0000"]
                return "\n".join([*lines[: n + 1], *short, f"{way} F300.0000", *lines[n + 3 :]])
            at |= {word[0]: float(word[1:]) for word in re.findall(r"[XY]-?[\d.]+", line)}
        raise AssertionError("no tab")

    forged.edit(EDGE, edit)


def tab_shifted(forged: Forged) -> None:
    """A tab on a straight edge lies 1.5 mm on, as wide as before, in every depth step."""
    tab = r"^G1 ([XY])(\S+)( F\S+)?\nG1 Z-1\.2000(.*)\nG1 \1(\S+)( F\S+)?\nG1 Z-1\.9000"

    def edit(text: str) -> str:
        found = re.search(tab, text, re.MULTILINE)
        assert found
        letter, start, end = found[1], found[2], found[5]
        by = math.copysign(1.5, float(end) - float(start))
        for place in (start, end):
            old, new = f"G1 {letter}{place}", f"G1 {letter}{float(place) + by:.4f}"
            around = rf"^{re.escape(old)}( F\S+)?$(?=\nG1 Z-1\.)"
            text = re.sub(around, rf"{new}\1", text, flags=re.MULTILINE)
        return text

    forged.edit(EDGE, edit)


def wrong_side(forged: Forged) -> None:
    """The outer edge is cut inside the board: all its places are drawn in by the diameter."""

    def edit(text: str) -> str:
        cuts = [cut for cut in strokes(text)[1:] if "Z-0.4750" in cut]
        cut = max(cuts, key=len)
        straight = re.sub(r"^G[23] (X\S+ Y\S+)(.*?) I\S+ J\S+", r"G1 \1\2", cut, flags=re.M)
        for letter in "XY":
            places = [float(v) for v in re.findall(rf"{letter}(-?[\d.]+)", straight)]
            middle = (min(places) + max(places)) / 2
            straight = re.sub(
                rf"{letter}(-?[\d.]+)",
                lambda m, k=letter, c=middle: (  # type: ignore[misc]
                    f"{k}{float(m[1]) + (2.0 if float(m[1]) < c else -2.0):.4f}"
                ),
                straight,
            )
        return text.replace(cut, straight)

    forged.edit(EDGE, edit)


def hole_missing(forged: Forged) -> None:
    forged.edit(DRILL, lambda text: text.replace(cut_of(text, "Z-2.2004", 1), "G0 Z5.0000\n"))


def dry_run_emptied(forged: Forged) -> None:
    def edit(text: str) -> str:
        head, rest = text.split("M0\n", 1)
        end = rest[rest.rindex("G0 Z28") :]
        return f"{head}M0\nG0 Z5.0000\n{end}"

    forged.edit(DRY, edit)


def part_of_dry_run(forged: Forged) -> None:
    """Half of the outline is run, back and forth."""

    def edit(text: str) -> str:
        lines = text.split("\n")
        around = [n for n, line in enumerate(lines) if re.match(r"G1 (X|Y)", line)]
        first, last = around[len(around) // 3], around[-1]
        return "\n".join(lines[:first] + lines[last:])

    forged.edit(DRY, edit)


def circles_turned(forged: Forged) -> None:
    """Full circles are run the other way round; what they cut is the same."""

    def edit(text: str) -> str:
        for cut in strokes(text)[1:]:
            if len(re.findall(r"^G3 ", cut, re.MULTILINE)) > 5 and "G1 X" not in cut:
                text = text.replace(cut, cut.replace("G3 ", "G2 "))
        return text

    forged.edit(r"register|bore-", edit)


def lap_turned(forged: Forged) -> None:
    """A lap around a round pad, run the other way round."""

    def edit(text: str) -> str:
        for cut in strokes(text)[1:]:
            kinds = re.findall(r"^(G\d) [XY]", cut, re.MULTILINE)
            if kinds.count("G2") >= 2 and "G1" not in kinds:
                return text.replace(cut, cut.replace("G2 ", "G3 "))
        raise AssertionError("no round lap")

    forged.edit(ISOLATE, edit)


def over_copper(forged: Forged) -> None:
    """A line is engraved across the pads of the first board."""

    def edit(text: str) -> str:
        cut = cut_of(text, "Z-0.0800", 0)
        first = re.search(r"^G0 X(\S+) Y(\S+)", cut, re.MULTILINE)
        assert first
        x, y = float(first[1]), float(first[2])
        line = (
            f"G0 Z5.0000\nG0 X{x:.4f} Y{y:.4f}\nG1 Z-0.0800 F100.0000\n"
            f"G1 X{x + 6:.4f} Y{y + 4:.4f} F300.0000\nG1 X{x - 6:.4f} Y{y - 4:.4f}\nG0 Z5.0000\n"
        )
        return text.replace(cut, line + cut, 1)

    forged.edit(ISOLATE, edit)


def shift_vernier(forged: Forged) -> None:
    def edit(text: str) -> str:
        cut = cut_of(text, "Z-0.0800", 3)
        return text.replace(cut, moved(cut, 0.1))

    forged.edit("engrave-", edit)


def slot_shortened(forged: Forged) -> None:
    """One end of the slot is drawn in."""

    def edit(text: str) -> str:
        cut = cut_of(text, r"^G1 X\S+ Y\S+ Z-", 0)
        xs = [float(v) for v in re.findall(r"X(-?[\d.]+)", cut)]
        far = f"X{max(xs):.4f}"
        return text.replace(cut, cut.replace(far, f"X{max(xs) - 0.8:.4f}"))

    forged.edit("bore-", edit)


def first_move_sideways(forged: Forged) -> None:
    forged.sub(ISOLATE, r"^(G0 )(Z28\.0000)\n(G0 )(X\S+ Y\S+)", r"\1\2 \4", 1)


def add_program(forged: Forged) -> None:
    forged.add(ISOLATE, 60)


def leave_out(pattern: str) -> Callable[[Forged], None]:
    return lambda forged: forged.leave_out(pattern)


def swap(forged: Forged) -> None:
    """The edge is cut before the holes, by the report and by the names of the files."""
    programs = forged.row["passes"][0]["programs"]
    programs[-1], programs[-2] = programs[-2], programs[-1]


def report(change: Callable[[dict], None]) -> Callable[[Forged], None]:  # type: ignore[type-arg]
    return lambda forged: change(forged.row)


def resumed(forged: Forged) -> None:
    file = forged.file(ISOLATE)
    forged.row["derived_from"] = "0123456789ab"
    forged.row["resumed"] = [
        {
            "file": file, "of": file, "asked": "--after 1", "point": 1, "points": 9, "cuts": 9,
            "entry": [1.0, 1.0, 0.0], "overlap": None, "board": None, "copy": None,
        }
    ]  # fmt: skip


FORGERIES: dict[str, Callable[[Forged], None]] = {
    **{f"lap {n} deleted": lap(n, without) for n in (0, 2, -1)},
    **{f"lap {n} moved": lap(n, lambda cut: moved(cut, 0.1)) for n in (0, -1)},
    "lap too shallow": lap(1, lambda cut: cut.replace("Z-0.0800", "Z-0.0400")),
    "lap too deep": lap(1, lambda cut: cut.replace("Z-0.0800", "Z-0.1000")),
    "hole too deep": sub(DRILL, r"^G1 Z-2\.2004", "G1 Z-3.0000", 1),
    "hole a little too deep": sub(DRILL, r"^G1 Z-2\.2004", "G1 Z-2.2500", 1),
    "hole missing": hole_missing,
    "profile deleted": profile_deleted,
    "tab milled away": tab_milled_away,
    "all tabs milled away": sub(EDGE, r"^G1 Z-1\.2000.*\n", ""),
    "tabs lower": sub(EDGE, r"Z-1\.2000", "Z-1.3000"),
    "tabs higher": sub(EDGE, r"Z-1\.2000", "Z-1.1000"),
    "tab narrower": tab_narrower,
    "tab elsewhere": tab_shifted,
    "a tab less in the report": report(lambda row: row["boards"][0]["tabs"].pop()),
    "no tabs in the report": report(lambda row: row["boards"][0].pop("tabs")),
    "profile on the wrong side": wrong_side,
    "profile not through": sub(EDGE, r"Z-1\.9000", "Z-1.6000"),
    "profile too deep": sub(EDGE, r"Z-1\.9000", "Z-2.4000"),
    "full depth in the first lap": sub(EDGE, r"Z-0\.4750", DEEP),
    "depth step too deep": sub(EDGE, r"Z-0\.4750", "Z-0.9500"),
    "profile the wrong way round": lambda forged: None,
    "dry run emptied": dry_run_emptied,
    "dry run in part": part_of_dry_run,
    "dry run left out": leave_out(DRY),
    "drilling left out": leave_out(DRILL),
    "profile left out": leave_out(EDGE),
    "one program more": add_program,
    "programs in another order": swap,
    "spindle slow": sub(ISOLATE, r"^S12000\.0000", "S1000.0000"),
    "spindle left on": sub(ISOLATE, r"^M5\nM2", "M2"),
    "feed next to nothing": sub(ISOLATE, r"F300\.0000", "F0.0100", 1),
    "feed of a cut doubled": sub(ISOLATE, r"F300\.0000", "F600.0000"),
    "feed of a plunge doubled": sub(ISOLATE, r"Z-0\.0800 F100\.0000", "Z-0.0800 F200.0000"),
    "dwell without end": sub(DRILL, r"G4 P3\.0", "G4 P99999.0"),
    "G54 missing": sub(ISOLATE, " G54", ""),
    "G17 missing": sub(ISOLATE, " G17", ""),
    "G90 missing": sub(ISOLATE, " G90", ""),
    "G94 missing": sub(ISOLATE, " G94", ""),
    "another zero place in a comment": sub(DRILL, r"at X(\S+) Y", "at X1.0000 Y"),
    "another cutter in a comment": sub(DRILL, r"\(fit drill,", "(fit mill,"),
    "another size in a comment": sub(DRILL, r"drill, 1 mm", "drill, 2 mm"),
    "another set in a comment": sub(DRILL, r", set [0-9a-f]{12}", ", set 0123456789ab"),
    "an exclamation mark": sub(ISOLATE, r"stop the machine", "stop the machine!", 1),
    "a tilde": sub(ISOLATE, r"stop the machine", "stop ~ machine", 1),
    "a carriage return": sub(ISOLATE, r"stop the machine", "stop\rG0 Z-5", 1),
    "first move sideways": first_move_sideways,
    "no last lift": sub(DRILL, r"^G0 Z28\.0000\nM5\nM2", "M5\nM2"),
    "no look at Z zero": sub(ISOLATE, r"^G1 Z1\.0000.*\n", ""),
    "a quick look at Z zero": sub(ISOLATE, r"^(G1 Z1\.0000) F240", r"\1 F300"),
    "no stop for the look": sub(ISOLATE, r"^M0\n", ""),
    "engraving over copper": over_copper,
    "another thickness": report(lambda row: row["blanks"][0].update(thickness=1.5)),
    "another size": report(lambda row: row["blanks"][0].update(size=[140.0, 70.0])),
    "another touch point": report(lambda row: row["passes"][0].update(touch=[50.0, 12.0])),
    "another window": report(lambda row: row["passes"][0]["window"].__setitem__(0, [99.0, 1.0])),
    "resumed": resumed,
}  # fmt: skip
del FORGERIES["profile the wrong way round"]

ONLY: dict[str, dict[str, Callable[[Forged], None]]] = {
    "two passes": {
        "circles turned": circles_turned,
        "vernier moved": shift_vernier,
        "combs left out": leave_out("engrave-"),
        "spoilboard left out": leave_out("spoilboard"),
        "pin hole shallow": sub("spoilboard", r"Z-4\.5000", "Z-4.0000"),
        "a mark not shown": sub("pass-2/01", r"^G0 X44\.0000 Y60\.0000", "G0 X43.0000 Y60.0000"),
    },
    "nested": {
        "circles turned": circles_turned,
        "lap turned": lap_turned,
        "slot shortened": slot_shortened,
        "a copy less": report(lambda row: row["boards"].pop()),
    },
    "middle": {
        "clearing left out": leave_out("clear-"),
        "clearing too deep": sub("clear-", r"Z-0\.1000", "Z-0.3000"),
    },
}
EVERY = [(name, what) for name in SETS for what in (*FORGERIES, *ONLY[name])]
IN_TURN = [(name, what) for n, name in enumerate(SETS) for what in list(FORGERIES)[n :: len(SETS)]]
IN_TURN += [(name, what) for name in SETS for what in ONLY[name]]
CASES = IN_TURN if settings().derandomize else EVERY
"""Usually each forgery is tried on one set, the sets in turn; the long profile tries all on all."""


@pytest.mark.parametrize(("name", "what"), CASES, ids=[f"{a}: {b}" for a, b in CASES])
def test_a_forgery_is_refused(
    sets: Callable[[str], Path], tmp_path: Path, name: str, what: str
) -> None:
    forged = Forged.of(sets(name), tmp_path / "set")
    (FORGERIES | ONLY[name])[what](forged)
    assert refused_for(forged.written()) != []


@pytest.mark.parametrize("name", SETS)
def test_nothing_is_wrong_with_a_set_that_is_only_written_again(
    sets: Callable[[str], Path], tmp_path: Path, name: str
) -> None:
    """Or the tests above would show only what the harness breaks."""
    forged = Forged.of(sets(name), tmp_path / "set")
    assert refused_for(forged.written()) == []


def table_missing(folder: Path) -> None:
    (folder / "toolpaths.csv").unlink()


def table_a_folder(folder: Path) -> None:
    (folder / "toolpaths.csv").unlink()
    (folder / "toolpaths.csv").mkdir()


def program_a_link(folder: Path) -> None:
    file = next(folder.rglob("*drill-1.0.ngc"))
    copy = folder.with_name("elsewhere.ngc")
    copy.write_bytes(file.read_bytes())
    file.unlink()
    file.symlink_to(copy)


def program_that_no_pass_names(folder: Path) -> None:
    file = next(folder.rglob("*drill-1.0.ngc"))
    file.with_name("77-drill-1.0.ngc").write_bytes(file.read_bytes())


@pytest.mark.parametrize(
    ("harm", "code", "name"),
    [
        (table_missing, "set-file-missing", "toolpaths.csv"),
        (table_a_folder, "set-file-missing", "toolpaths.csv"),
        (program_a_link, "set-file-foreign", "blank-1/pass-1/04-drill-1.0.ngc"),
        (program_that_no_pass_names, "set-file-foreign", "blank-1/pass-1/77-drill-1.0.ngc"),
    ],
)
def test_a_set_whose_files_are_not_its_own_is_refused_though_hashes_are_redone(
    sets: Callable[[str], Path],
    tmp_path: Path,
    harm: Callable[[Path], None],
    code: str,
    name: str,
) -> None:
    forged = Forged.of(sets("middle"), tmp_path / "set")
    harm(forged.folder)
    forged.resealed()
    stops = [f for f in verify(forged.folder).findings if f.severity == "stop"]
    assert (code, name) in {(f.code, f.file) for f in stops}
