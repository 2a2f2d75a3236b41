"""Processor seconds and memory of `prepare`, stage by stage, as multiples of a floor.

The floor is what any program for the job has to do, measured before and after it: the interpreter
and the libraries, reading the DXF, one raw offset for every lap, one union of all laps in two
threads, and writing as many bytes. Stages are measured with all work in one process; a stage that
calls another is less that. Growth is the exponent of a stage's seconds over the area: boards of 1,
4 and 16 times the area (64 with `--long`), from the second size to the last. Each set is made in a
process of its own, so its memory is its own. Python keeps its compiled modules. A set is made as
the command makes it, where Python looks for litter seldom; the floor leaves that as it is. Last
are the shares that the example takes when nothing has changed, and when one feed has.

Exit code 1 when a stage takes `SLOWER` times its share of the stored baseline, or grows steeper
than `STEEPEST`.
"""

from __future__ import annotations

import argparse
import gc
import json
import math
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack
from pathlib import Path
from typing import Any, TypeVar
from unittest import mock

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "examples" / "lighthouse" / "memory-board.toml"
BASELINE = Path(__file__).with_name("baseline.json")
SLOWER = 1.3
"""A busy machine changes ratios by less."""
STEEPEST = 1.25
STEADY = 0.05
"""The floors before and after a job may differ by this share."""
ROUNDS = 4
"""A job is measured so many times at most; the round counts whose floors differ least."""
LEAST = 0.1
"""Stages of less, in floors, are not judged."""
STAGES = {
    "drawings": ("millprep.workflow.planning", "read_boards"),
    "least time": ("millprep.toolpaths.least_time", "chosen"),
    "layout": ("millprep.workflow.prepare", "laid_out"),
    "laps and holes": ("millprep.passes.blank_cuts", "cuts"),
    "passes": ("millprep.passes.blank_passes", "passes"),
    "links": ("millprep.toolpaths.linking", "linked_laps"),
    "programs": ("millprep.passes.blank_passes", "build"),
    "files": ("millprep.workflow.prepare", "write_programs"),
    "reading back": ("millprep.workflow.prepare", "read_programs"),
    "as-cut copper": ("millprep.verify.prove", "cut_blanks"),
    "comparison": ("millprep.verify.prove", "check_copper"),
    "stray cuts": ("millprep.verify.prove", "check_stray_cuts"),
    "worst case": ("millprep.verify.prove", "worst_cases"),
    "certificate": ("millprep.verify.prove", "certify"),
    "holding": ("millprep.workflow.prepare", "with_holding"),
    "rules": ("millprep.workflow.prepare", "judged"),
    "pictures": ("millprep.report", "draw"),
    "sheet and report": ("millprep.report", "write"),
    "copies": ("millprep.workflow.prepare", "write_report"),
}
"""What is measured: the module that calls it, and its name there."""
SHOWN = ("pictures", "sheet and report", "copies")
"""Stages of what a person looks at; no cut needs them."""
T = TypeVar("T")


class Clock:
    """Processor seconds of stages, each less the stages that it calls."""

    def __init__(self) -> None:
        self.spent = dict.fromkeys(STAGES, 0.0)
        self._within = [0.0]

    def timed(self, stage: str, work: Callable[..., T]) -> Callable[..., T]:
        """The work, measured."""

        def measured(*args: object, **words: object) -> T:
            self._within.append(0.0)
            start = time.process_time()
            try:
                return work(*args, **words)
            finally:
                took = time.process_time() - start
                self.spent[stage] += took - self._within.pop()
                self._within[-1] += took

        return measured


def prepared(job: Path, out: Path) -> dict[str, Any]:
    """Make a set in this process: seconds of its stages, and how much its floor has to do.

    What it takes to note that is no part of the set.
    """
    import importlib

    from millprep.cli.main import LITTER
    from millprep.workflow import prepare, second_core

    gc.set_threshold(*LITTER)
    clock = Clock()
    with ExitStack() as patched:
        for stage, (name, function) in STAGES.items():
            module = importlib.import_module(name)
            work = clock.timed(stage, getattr(module, function))
            patched.enter_context(mock.patch.object(module, function, work))
        patched.enter_context(mock.patch.object(second_core, "cores", return_value=1))
        made = prepare.prepare(job, out)
    done = time.process_time()
    written = sum(file.stat().st_size for file in out.rglob("*") if file.is_file())
    laps = [lap.path.flattened().tolist() for blank in made.blanks for lap in blank.cuts.laps]
    noted = time.process_time() - done
    return {"stages": clock.spent, "bytes": written, "laps": laps, "noted": noted}


def floor(drawing: Path, work: Path, out: Path) -> None:
    """What no program for the job can do without."""
    import ezdxf
    import shapely

    ezdxf.readfile(drawing)  # type: ignore[attr-defined]
    report = json.loads(work.read_text("utf-8"))
    lines = [shapely.LineString(xy) for xy in report["laps"]]
    for line in lines:
        shapely.buffer(line, 0.25, quad_segs=32)
    swept = shapely.buffer(lines, 0.24, quad_segs=32)
    with ThreadPoolExecutor(2) as pool:
        halves = pool.map(shapely.union_all, [swept[::2], swept[1::2]])
        shapely.union_all(list(halves))
    out.write_bytes(bytes(report["bytes"]))


def child(*words: object) -> tuple[float, float]:
    """Processor seconds and peak megabytes of this module in a process of its own."""
    command = [sys.executable, "-m", "tests.bench", *map(str, words)]
    process = subprocess.Popen(command, cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)})
    _, status, used = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{' '.join(command)} ended with {process.returncode}")
    return used.ru_utime + used.ru_stime, used.ru_maxrss / 1024


def measured(job: Path, drawing: Path) -> dict[str, Any]:
    """Figures of one job: its floor in seconds, all else in floors, memory in megabytes.

    The floor is the mean of one before the job and one after it. Where these differ, the clock of
    the machine has changed meanwhile, and the job is measured again.
    """
    with tempfile.TemporaryDirectory() as folder:
        work = Path(folder) / "work.json"

        def made() -> tuple[float, float]:
            return child("--prepare", job, Path(folder) / "out", work)

        def least() -> tuple[float, float]:
            return child("--floor", drawing, work, Path(folder) / "bytes")

        # the floor does as much as the job did, so a job comes first, and is not counted
        made()
        before, _ = least()
        rounds = []
        for _ in range(ROUNDS):
            whole, memory = made()
            report = json.loads(work.read_text("utf-8"))
            stages, whole = report["stages"], whole - report["noted"]
            after, its_memory = least()
            apart = abs(after - before) / min(after, before)
            both = (before + after) / 2
            rounds.append((apart, both, whole, stages, memory, its_memory))
            if apart <= STEADY:
                break
            before = after
    apart, both, whole, stages, memory, its_memory = min(rounds, key=lambda row: row[0])
    stages = {stage: round(spent / both, 3) for stage, spent in stages.items()}
    return {
        "floor, s": round(both, 3),
        "floors apart": round(apart, 3),
        "all": round(whole / both, 2),
        "stages": stages,
        "rest": round(whole / both - sum(stages.values()), 3),
        "without pictures and sheet": round(
            whole / both - sum(stages[stage] for stage in SHOWN), 2
        ),
        "memory, MB": round(memory),
        "memory / floor": round(memory / its_memory, 2),
    }


def again() -> dict[str, float]:
    """The example prepared anew with kept results, as shares of its processor seconds without.

    The seconds without are the mean of a run before and one after, so that a clock that changes
    does not pass for a gain.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for file in EXAMPLE.parent.glob(f"{EXAMPLE.stem}*"):
            (folder / file.name).write_bytes(file.read_bytes())
        job = folder / EXAMPLE.name
        env = os.environ | {"PYTHONPATH": str(ROOT), "MILLPREP_CACHE": str(folder / "cache")}

        def seconds(*options: str) -> float:
            code = "from millprep.cli import main; main()"
            words = ["prepare", str(job), "--out", str(folder / "set"), *options]
            command = [sys.executable, "-c", code, *words]
            quiet = subprocess.DEVNULL
            process = subprocess.Popen(command, cwd=folder, env=env, stdout=quiet, stderr=quiet)
            _, status, used = os.wait4(process.pid, 0)
            process.returncode = os.waitstatus_to_exitcode(status)
            if process.returncode:
                raise SystemExit(f"{' '.join(command)} ended with {process.returncode}")
            return used.ru_utime + used.ru_stime

        # an engraved id changes with every change, and the copper with it
        text = job.read_text("utf-8").replace("engrave_names = true", "engrave_names = false")
        job.write_text(text, "utf-8")
        whole = seconds()
        unchanged = min(seconds(), seconds())
        vee = 'preset = "vee-60-0.1"'
        assert text.count(vee) == 1
        changed = []
        for feed in (155.0, 165.0):
            job.write_text(text.replace(vee, f"{vee}\nfeed = {feed}\n#"), "utf-8")
            changed.append(seconds())
        whole = (whole + seconds("--fresh")) / 2
        job.write_text(text.replace(vee, f"{vee}\nfeed = 160.0\n#"), "utf-8")
        command = [sys.executable, "-c", WATCHED, str(job), str(folder / "set")]
        watched = subprocess.run(command, env=env, capture_output=True, text=True, check=True)
        return {
            "nothing changed": round(unchanged / whole, 3),
            "one feed changed": round(min(changed) / whole, 3),
            "one feed changed, in a process that goes on": round(float(watched.stdout) / whole, 3),
        }


WATCHED = r"""
import gc, os, re, sys
from pathlib import Path
from millprep import cache
from millprep.cli.main import LITTER
from millprep.workflow.prepare import prepare
gc.set_threshold(*LITTER)
job, out = map(Path, sys.argv[1:])
taken = []
for feed in (160, 158, 162):
    text = job.read_text("utf-8")
    job.write_text(re.sub(r"(?m)^feed = 1\d\d[.]0$", f"feed = {feed}.0", text, count=1), "utf-8")
    begun = sum(os.times()[:4])
    with cache.using(cache.user_cache()):
        prepare(job, out)
    taken.append(sum(os.times()[:4]) - begun)
print(min(taken[1:]))
"""
"""As `millprep watch` does: the same process prepares again, whenever the job is saved."""


def tiled(folder: Path, times: int) -> tuple[Path, Path]:
    """A job and its drawing: `times` × `times` tiles of tracks and pads on one board."""
    import ezdxf.filemanagement
    import shapely

    doc: Any = ezdxf.filemanagement.new(units=4)
    space = doc.modelspace()
    width, height = 26.0 * times + 4, 20.0 * times + 4
    corners = [(0, 0), (width, 0), (width, height), (0, height)]
    space.add_lwpolyline(corners, close=True, dxfattribs={"layer": "shore"})
    for x in range(times):
        for y in range(times):
            for n in range(6):
                a, b = 26.0 * x + 4, 20.0 * y + 4 + 3 * n
                track = shapely.LineString([(a, b), (a + 9, b), (a + 11, b + 1), (a + 19, b + 1)])
                ends = shapely.points([(a, b), (a + 19, b + 1)])
                copper = shapely.union_all([track.buffer(0.4), *shapely.buffer(ends, 0.9)])
                around = shapely.get_coordinates(copper.boundary).tolist()
                space.add_lwpolyline(around, close=True, dxfattribs={"layer": "sheen"})
                for end in ends:
                    space.add_circle((end.x, end.y), 0.5, dxfattribs={"layer": "wells"})
    drawing = folder / f"tiled-{times}.dxf"
    doc.saveas(drawing)
    job = folder / f"tiled-{times}.toml"
    job.write_text(
        f'name = "tiled {times}"\n'
        '[machine]\npreset = "small-mill-300"\ntravel = [600.0, 480.0]\n'
        f'[blank]\npreset = "fr4-1.6-35"\nsize = [{width + 30}, {height + 30}]\nmargin = 12.0\n'
        "[setup]\ntape = true\n"
        f'[[board]]\nname = "tiled"\ndrawing = "{drawing.name}"\ndrawn_from = "copper"\n'
        'layers = { copper = ["sheen"], outline = ["shore"], holes = ["wells"] }\n'
        '[cutters.vee]\npreset = "vee-60-0.1"\n[cutters.drill]\npreset = "drill-1.0"\n'
        '[cutters.mill]\npreset = "endmill-2"\n'
        '[isolation]\ngap = 0.4\ncutters = ["vee"]\n'
        '[drilling]\ncutters = ["drill"]\nspoilboard = 6.0\n[profile]\ncutter = "mill"\n'
    )
    return job, drawing


def exponents(small: dict[str, Any], large: dict[str, Any], area: float) -> dict[str, float]:
    """Growth of every stage that is long enough to be judged: seconds go with area to the power."""
    powers = {}
    for stage, share in small["stages"].items():
        before, after = share * small["floor, s"], large["stages"][stage] * large["floor, s"]
        if after > LEAST * large["floor, s"] and before > 0:
            powers[stage] = round(math.log(after / before) / math.log(area), 2)
    return powers


def all_figures(*, long: bool) -> dict[str, Any]:
    """The example, boards of growing area, and how stages grow from the second to the last."""
    # as where the package is installed
    compiled = [sys.executable, "-m", "compileall", "-q", str(ROOT / "millprep")]
    subprocess.run(compiled, check=True)
    figures: dict[str, Any] = {"memory board": measured(EXAMPLE, EXAMPLE.with_suffix(".dxf"))}
    sizes = (1, 2, 4, 8) if long else (1, 2, 4)
    with tempfile.TemporaryDirectory() as folder:
        grown = [measured(*tiled(Path(folder), times)) for times in sizes]
    for times, of_size in zip(sizes, grown, strict=True):
        figures[f"{times * times} × the area"] = of_size
    figures["again"] = again()
    figures["growth"] = exponents(grown[1], grown[-1], (sizes[-1] / sizes[1]) ** 2)
    return figures


def faults(figures: dict[str, Any], baseline: dict[str, Any]) -> list[str]:
    """What got slower than the baseline, and what grows too steeply."""
    said = [
        f"{stage} grows as n^{power}, at most n^{STEEPEST}"
        for stage, power in figures["growth"].items()
        if power > STEEPEST
    ]
    before = baseline.get("memory board", {}).get("stages", {})
    for stage, share in figures["memory board"]["stages"].items():
        if max(share, LEAST) > SLOWER * max(before.get(stage, share), LEAST):
            said.append(f"{stage} takes {share} floors, {before[stage]} before")
    return said


def table(figures: dict[str, Any], baseline: dict[str, Any]) -> str:
    """The figures in words."""
    board = figures["memory board"]
    before = baseline.get("memory board", {})
    lines = [
        f"memory board: floor {board['floor, s']} s ({board['floors apart']:.0%} apart); "
        "all else in floors, baseline behind"
    ]
    for stage, share in board["stages"].items():
        was = before.get("stages", {}).get(stage, math.nan)
        power = figures["growth"].get(stage)
        grows = "" if power is None else f"   n^{power}"
        lines.append(f"  {stage:18}{share:8.2f}{was:8.2f}{grows}")
    lines.append(f"  {'rest':18}{board['rest']:8.2f}{before.get('rest', math.nan):8.2f}")
    lines.append(f"  {'all':18}{board['all']:8.2f}{before.get('all', math.nan):8.2f}")
    for name, size in figures.items():
        if name == "again":
            lines += [f"{words}: {share:.1%} of all" for words, share in size.items()]
        elif name != "growth":
            lines.append(
                f"{name}: {size['all']} floors of {size['floor, s']} s, {size['memory, MB']} MB, "
                f"{size['without pictures and sheet']} without pictures and sheet"
            )
    return "\n".join([*lines, *faults(figures, baseline), ""])


def main() -> int:
    """Measure, print, compare; or do the one part of it that a child is started for."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--long", action="store_true", help="64 times the area as well")
    parser.add_argument("--json", type=Path, help="file to write the figures to")
    parser.add_argument("--write", action="store_true", help="store the figures as the baseline")
    parser.add_argument("--prepare", nargs=3, type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--floor", nargs=3, type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.prepare:
        job, out, work = given.prepare
        work.write_text(json.dumps(prepared(job, out)), "utf-8")
        gc.freeze()
        return 0
    if given.floor:
        floor(*given.floor)
        return 0
    figures = all_figures(long=given.long)
    baseline = json.loads(BASELINE.read_text("utf-8")) if BASELINE.exists() else {}
    sys.stdout.write(table(figures, baseline))
    for file in (given.json, BASELINE if given.write else None):
        if file is not None:
            file.write_text(json.dumps(figures, indent=1, ensure_ascii=False) + "\n", "utf-8")
    return 0 if given.write or not faults(figures, baseline) else 1


if __name__ == "__main__":
    sys.exit(main())
