"""`millprep watch`: a job prepared again whenever one of its files is saved."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from millprep.cli import terminal
from millprep.cli.options import fresh_option, out_option
from millprep.cli.show import has_display
from millprep.workflow.set_on_disk import refused_folder

if TYPE_CHECKING:
    from millprep.workflow.watch import WatchState


@click.command()
@click.argument("job_file", metavar="JOB.toml", type=click.Path(path_type=Path, dir_okay=False))
@out_option("Folder of the set, as of prepare.")
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
            _say(state, folder)
        else:
            _say_changes(state)

    try:
        Watch(job_file, folder, show, fresh=fresh).run()
    except KeyboardInterrupt:
        click.echo("ended", err=True)
    finally:
        page.close()


def _say(state: WatchState, folder: Path) -> None:
    """Findings, and what came of a preparation."""
    terminal.say_findings(state.findings)
    if state.made:
        click.echo(f"prepared in {state.seconds:.1f} s: {folder / 'sheet.html'}")
    else:
        where = f"; see {refused_folder(folder)}" if state.explained else ""
        click.echo(f"refused after {state.seconds:.1f} s, nothing was written to {folder}{where}")


def _say_changes(state: WatchState) -> None:
    """What is cut otherwise than before."""
    from millprep.cli.compare import lines_of

    for line in lines_of(state.changes or ()):
        click.echo(f"changed: {line}")
