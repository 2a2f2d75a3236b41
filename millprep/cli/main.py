"""The group of commands."""

from __future__ import annotations

import gc
import io
import os
import signal
import sys
from contextlib import suppress
from pathlib import Path

import click

from millprep import __version__
from millprep.cli.begin import begin
from millprep.cli.bench import bench
from millprep.cli.check import check
from millprep.cli.compare import compare
from millprep.cli.demo import demo
from millprep.cli.explain import explain
from millprep.cli.guide import guide
from millprep.cli.inspect import inspect
from millprep.cli.layout import layout
from millprep.cli.legend import legend
from millprep.cli.level import level
from millprep.cli.new import new
from millprep.cli.prepare import prepare
from millprep.cli.probe import probe
from millprep.cli.ran import ran
from millprep.cli.refit import refit
from millprep.cli.resume import resume
from millprep.cli.schema import schema
from millprep.cli.show import show
from millprep.cli.state import state
from millprep.cli.times import times
from millprep.cli.verify import verify
from millprep.cli.watch import watch
from millprep.files import writing

LITTER = (1_000_000, 20, 100)
"""How many new objects Python makes before it looks for litter, `gc.set_threshold`.

A drawing is read into many objects that stay: to look through all of them after every 700 new ones
takes a fifth of the time. A long board makes fewer than a million, and few of them are litter.
"""


class InOrder(click.Group):
    """A group whose help lists the commands in the order in which a person needs them."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        """The names as the commands were added."""
        return list(self.commands)


@click.group(cls=InOrder, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="millprep")
def commands() -> None:
    """From a drawing of a circuit board to safe cut files for a small mill.

    Begin with millprep guide first-board.

    Exit codes: 0 done, 1 refused, 2 mistake in job or usage, 3 drawing unreadable or doubtful,
    70 a fault of millprep itself.
    """


@click.command()
def version() -> None:
    """Show the version."""
    click.echo(f"millprep {__version__}")


for command in (
    inspect,
    bench,
    new,
    schema,
    check,
    times,
    layout,
    prepare,
    watch,
    show,
    verify,
    compare,
    begin,
    ran,
    state,
    probe,
    legend,
    level,
    refit,
    resume,
    explain,
    guide,
    version,
    demo,
):
    commands.add_command(command)


def main() -> None:
    """Run the command line; a fault of ours ends with 70 and says so."""
    gc.set_threshold(*LITTER)
    # ended from outside, a run cleans up after itself as it does after an error
    for name in ("SIGTERM", "SIGHUP"):
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), lambda number, _: sys.exit(128 + number))
    for number in (0, 1, 2):
        # a file opened in the place of a closed stream would take what is printed
        try:
            os.fstat(number)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, Path(os.devnull).open("w", encoding="utf-8"))  # noqa: SIM115 - to the end
    for stream in (sys.stdout, sys.stderr):
        # a console or a pipe may know fewer letters than a text has
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")
    try:
        try:
            commands(prog_name="millprep")
        finally:
            sys.stdout.flush()
            # else Python looks for litter once more before it ends: a tenth of a short run
            gc.freeze()
    except Exception as fault:
        if isinstance(fault, OSError) and fault.errno in writing.DISK:
            sys.exit(_not_printed(fault))
        import traceback  # loads slowly

        traceback.print_exc()
        click.echo(
            "This is a fault of millprep, not of your files. Nothing was replaced. "
            "Please report it with the lines above.",
            err=True,
        )
        sys.exit(70)


def _not_printed(fault: OSError) -> int:
    """Say that the system took no more output; the exit code."""
    what = "what millprep prints" if fault.filename is None else fault.filename
    with suppress(OSError):
        click.echo(
            f"{what} cannot be written ({fault.strerror}). Make room, then try again.", err=True
        )
    # what is left unwritten would be tried once more when Python ends
    with suppress(OSError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 1
