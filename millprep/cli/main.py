"""The group of commands."""

from __future__ import annotations

import signal
import sys
import traceback

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
from millprep.cli.level import level
from millprep.cli.new import new
from millprep.cli.prepare import prepare
from millprep.cli.probe import probe
from millprep.cli.ran import ran
from millprep.cli.refit import refit
from millprep.cli.resume import resume
from millprep.cli.schema import schema
from millprep.cli.show import show
from millprep.cli.times import times
from millprep.cli.verify import verify


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
    show,
    verify,
    compare,
    begin,
    ran,
    probe,
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
    # ended from outside, a run cleans up after itself as it does after an error
    signal.signal(signal.SIGTERM, lambda number, _: sys.exit(128 + number))
    try:
        commands(prog_name="millprep")
    except Exception:
        traceback.print_exc()
        click.echo(
            "This is a fault of millprep, not of your files. Nothing was replaced. "
            "Please report it with the lines above.",
            err=True,
        )
        sys.exit(70)
