"""Commands that make a set and prove it again: `millprep prepare`, `demo`, `watch` and `verify`."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import terminal
from millprep.cli.look_up import has_display
from millprep.cli.options import (
    chosen,
    copies_options,
    fresh_option,
    job_option,
    json_option,
    layout_options,
    replace_option,
    set_argument,
    summary_option,
)

if TYPE_CHECKING:
    from millprep.model.finding import Finding
    from millprep.model.set_of_programs import CutSet
    from millprep.workflow.identity import WishedSet
    from millprep.workflow.watch import WatchState


@click.command()
@click.argument(
    "job_files", metavar="JOB.toml...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@click.option(
    "--out",
    "-o",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder of the set. An older set there is replaced as a whole. Without it, the folder "
    "next to the job that has the job's name. Of several jobs, the folder that their sets lie in.",
)
@click.option(
    "--repair",
    is_flag=True,
    help="Mend damaged drawings. Every change is listed. A change to a shape in use must be "
    "accepted in the job.",
)
@layout_options
@copies_options
@replace_option
@fresh_option
@summary_option
def prepare(
    job_files: tuple[Path, ...],
    out: Path | None,
    repair: bool,
    effort: str,
    layout_file: Path | None,
    skip: tuple[tuple[str, int], ...],
    only: tuple[tuple[str, int], ...],
    replace: bool,
    fresh: bool,
    as_json: bool,
) -> None:
    """Make the programs, pictures, sheet and report of a job, or of several.

    Several jobs are prepared at the same time, as many as the computer has cores. One that fails
    does not stop the others. The exit code is the highest of all.
    """
    from millprep.cli.side_by_side import JobWish, prepare_all

    if out is None and (bare := [file for file in job_files if not file.suffix]):
        raise click.UsageError(f"{bare[0]} has no ending such as .toml; name a folder with --out")
    if len(job_files) > 1:
        given = {"--layout": layout_file, "--skip": skip, "--only": only}
        single = [name for name, value in given.items() if value]
        if single:
            raise click.UsageError(f"{single[0]} is of one job; prepare that job by itself")
        wishes = [
            JobWish(
                file,
                file.with_suffix("") if out is None else out / file.stem,
                repair,
                effort,
                replace,
                fresh,
            )
            for file in job_files
        ]
        prepare_all(wishes, as_json)
        return
    (job_file,) = job_files
    run(
        job_file,
        job_file.with_suffix("") if out is None else out,
        as_json,
        repair=repair,
        replace=replace,
        fresh=fresh,
        effort=effort,
        layout_file=layout_file,
        skip=skip,
        only=only,
    )


def run(
    job_file: Path,
    out: Path,
    as_json: bool,
    *,
    repair: bool = False,
    replace: bool = False,
    fresh: bool = False,
    effort: str = "default",
    layout_file: Path | None = None,
    skip: tuple[tuple[str, int], ...] = (),
    only: tuple[tuple[str, int], ...] = (),
) -> None:
    """Prepare a job and say what came of it; where nothing has changed its set stays as it is."""
    import millprep
    from millprep import cache

    kept = None if fresh else cache.user_cache()
    wished_set: WishedSet | None = None
    if kept is not None:
        from millprep.workflow.identity import WishedSet

        wished_set = WishedSet(kept, job_file, out, layout_file, repair, effort, skip, only)
        same = wished_set.unchanged()
        if same is not None:
            click.echo("nothing has changed: the set stays as it is", err=True)
            _say(same.id, same.findings, same.lines, out, as_json)
            return

    def made() -> CutSet:
        wished = chosen(effort, layout_file, skip, only)
        say = terminal.steps(terminal.PREPARE)
        with cache.using(kept):
            return millprep.prepare(
                job_file, out, say, repair=repair, choice=wished, replace_begun=replace
            )

    finish(made, out, as_json, wished_set)


def finish(
    make: Callable[[], CutSet], out: Path, as_json: bool, wished_set: WishedSet | None = None
) -> None:
    """Make a set and say what came of it."""
    with terminal.refusals(as_json=as_json, out=out, explained=True):
        cut_set = make()
    lines = summary(cut_set)
    if wished_set is not None:
        wished_set.keep(cut_set.id, cut_set.findings, lines)
    _say(cut_set.id, cut_set.findings, lines, out, as_json)


def _say(
    id: str,  # noqa: A002
    findings: Sequence[Finding],
    lines: Sequence[str],
    out: Path,
    as_json: bool,
) -> None:
    """Say what a set is."""
    terminal.say_findings(findings)
    if as_json:
        click.echo((out / "report.json").read_text("utf-8"), nl=False)
        return
    click.echo(f"set {id} in {out}")
    for line in lines:
        click.echo(line)
    click.echo(f"look at {out / 'sheet.html'} and {out / 'previews'} before you cut")


def summary(cut_set: CutSet) -> list[str]:
    """What a set holds, how long it takes, and what was read back."""
    # loaded when there is a set, so that helps are quick
    from millprep.model.by_hand import by_hand
    from millprep.report.words import by_hand_words, running_words

    pieces, running = sum(p.pieces for p in cut_set.proofs), cut_set.running
    return [
        f"{len(cut_set.copies)} board(s) on {len(cut_set.blanks)} blank(s), "
        f"{len(cut_set.passes)} pass(es), {len(cut_set.programs)} programs",
        *([] if running is None else [running_words(running, cut_set.machine, cut_set.time_fit)]),
        by_hand_words(by_hand(cut_set)),
        f"read back: {pieces} copper pieces, {sum(p.shorts for p in cut_set.proofs)} shorts, "
        f"{sum(p.opens for p in cut_set.proofs)} opens, "
        f"{sum(1 for j in cut_set.joins if j.piece is not None)} joins",
    ]


def example() -> Path:
    """The lighthouse example: in an installed package next to the code, in a clone above it."""
    from importlib.resources import files  # loads slowly

    packaged = Path(str(files("millprep"))) / "lighthouse"
    return packaged if packaged.is_dir() else packaged.parents[1] / "examples" / "lighthouse"


@click.command()
@click.argument("out", metavar="DIR", type=click.Path(path_type=Path, file_okay=False))
@replace_option
@summary_option
def demo(out: Path, replace: bool, as_json: bool) -> None:
    """Prepare the example, an invented memory board of 480 mm."""
    run(example() / "memory-board.toml", out, as_json, replace=replace)


@click.command()
@set_argument
@job_option
@json_option("Print the results as JSON.")
def verify(folder: Path, job_file: Path | None, as_json: bool) -> None:
    """Prove a finished set again, before you cut it.

    Every file of SET is checked against its hash. Then millprep reads the programs, checks their
    motion and cuts the blanks in simulation. The exit code is 1 when anything differs from what
    was written, or would do harm.
    """
    import millprep

    with terminal.refusals(as_json=as_json, good=False):
        done = millprep.verify_set(folder, job_file, terminal.steps(terminal.VERIFY))
    terminal.say_findings(done.findings)
    if as_json:
        boards = [
            {
                "name": placement.board.name,
                "copy": placement.copy,
                "pieces": proof.pieces,
                "shorts": proof.shorts,
                "opens": proof.opens,
                "narrowest_gap": proof.narrowest_gap,
                "narrowest_copper": proof.narrowest_copper,
            }
            for placement, proof in zip(done.layout.placements, done.proofs, strict=False)
        ]
        rows = [terminal.as_row(f) for f in done.findings]
        result = {"set": done.id, "good": done.good, "files": done.files, "boards": boards}
        result |= {"begun": terminal.begun_rows(done.begun)}
        click.echo(json.dumps(result | {"findings": rows}))
    elif done.good:
        click.echo(f"set {done.id} in {folder}: {done.files} files as they were written")
        if done.resumed:
            click.echo("it goes on where a cutter broke, and moves by the rules")
        else:
            pieces = sum(proof.pieces for proof in done.proofs)
            click.echo(f"{pieces} copper pieces, 0 shorts, 0 opens")
    if not done.good:
        click.echo(f"refused: do not cut {folder}", err=True)
        raise SystemExit(1)


@click.command()
@click.argument("job_file", metavar="JOB.toml", type=click.Path(path_type=Path, dir_okay=False))
@click.option(
    "--out",
    "-o",
    metavar="DIR",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder of the set, as of prepare.",
)
@fresh_option
def watch(job_file: Path, out: Path | None, fresh: bool) -> None:
    """Prepare a job now, and again whenever job, bench or drawing is saved.

    A page in the browser shows findings first, then what is cut otherwise than before, then the
    sheet. Only this computer sees it. The set in the folder is always a whole one: the newest that
    was not refused. Ctrl-C ends it.
    """
    if out is None and not job_file.suffix:
        raise click.UsageError(f"{job_file} has no ending such as .toml; name a folder with --out")
    folder = job_file.with_suffix("") if out is None else out
    from millprep.cli.watch_page import WatchPage
    from millprep.workflow.watch import Watch

    page = WatchPage(job_file.stem, folder)
    click.echo(f"{page.address} shows {folder}; Ctrl-C ends it")
    if has_display():
        click.launch(page.address)
    say = terminal.steps(terminal.PREPARE)

    def show(state: WatchState) -> None:
        page.show(state)
        if state.step:
            say(state.step)
        elif state.changes is None:
            _say_state(state, folder)
        else:
            _say_changes(state)

    try:
        Watch(job_file, folder, show, fresh=fresh).run()
    except KeyboardInterrupt:
        click.echo("ended", err=True)
    finally:
        page.close()


def _say_state(state: WatchState, folder: Path) -> None:
    """Findings, and what came of a preparation."""
    terminal.say_findings(state.findings)
    if state.made:
        click.echo(f"prepared in {state.seconds:.1f} s: {folder / 'sheet.html'}")
    else:
        click.echo(f"refused after {state.seconds:.1f} s, nothing was written to {folder}")


def _say_changes(state: WatchState) -> None:
    """What is cut otherwise than before."""
    from millprep.cli.compare import lines_of

    for line in lines_of(state.changes or ()):
        click.echo(f"changed: {line}")
