"""Commands that show what is there: `millprep explain`, `guide`, `schema` and `show`."""

from __future__ import annotations

import json
import os
import sys
from dataclasses import asdict
from pathlib import Path

import click

from millprep.cli import terminal
from millprep.cli.options import json_option
from millprep.files import writing
from millprep.model.finding import usage
from millprep.workflow.set_on_disk import load_mark


@click.command()
@click.argument("code", required=False)
@json_option("Print the same as JSON.")
def explain(code: str | None, as_json: bool) -> None:
    """Explain a finding by its code.

    You read what it means, why it matters, what to do, the source of the rule, and the page of
    the guide that says more. CODE is the word in brackets after every finding. Without it, all
    codes are listed.
    """
    import difflib  # loads slowly

    from millprep.report.findings import explanations, renamed

    known = explanations()
    if code is None:
        if as_json:
            click.echo(json.dumps([asdict(each) for each in known.values()], indent=1))
            return
        width = max(map(len, known))
        for each in known.values():
            click.echo(f"{each.code.ljust(width)}  {each.means}")
        return
    wanted = code.strip("[]").lower()
    explanation = known.get(renamed().get(wanted, wanted))
    if explanation is None:
        near = difflib.get_close_matches(code, known, n=3, cutoff=0.5)
        hint = f" Near to it: {', '.join(near)}." if near else ""
        message = f"There is no finding {code!r}.{hint} millprep explain lists all."
        with terminal.refusals():
            raise usage("code-unknown", message)
    if as_json:
        click.echo(json.dumps(asdict(explanation), indent=1))
        return
    click.echo(explanation.code)
    if explanation.was == wanted:
        click.echo(f"  renamed:         this finding was called {wanted} in earlier versions")
    click.echo(f"  what it means:   {explanation.means}")
    click.echo(f"  why it matters:  {explanation.matters}")
    click.echo(f"  what to do:      {explanation.do}")
    click.echo(f"  source:          {explanation.source}")
    if explanation.guide is not None:
        click.echo(f"  read on:         millprep guide {explanation.guide}")


@click.command()
@click.argument("page", required=False)
@click.option("--browser", is_flag=True, help="Open the guide in the browser, at this page.")
def guide(page: str | None, browser: bool) -> None:
    """Read the guide: a page for each task, and one on troubleshooting.

    PAGE is the name of a page. Without it, all pages are listed.
    """
    # loaded here, so that helps are quick
    import difflib
    import tempfile
    import webbrowser

    from millprep.report.guide import guide_html, guide_pages

    pages = guide_pages()
    if page is not None and page not in pages:
        near = difflib.get_close_matches(page, pages, n=3, cutoff=0.4)
        hint = f" Near to it: {', '.join(near)}." if near else ""
        with terminal.refusals():
            raise usage(
                "page-unknown", f"The guide has no page {page!r}.{hint} millprep guide lists all."
            )
    if browser:
        file = Path(tempfile.mkdtemp(prefix="millprep-guide-")) / "guide.html"
        file.write_text(guide_html(), "utf-8")
        click.echo(str(file))
        webbrowser.open(file.as_uri() + (f"#{page}" if page else ""))
    elif page is not None:
        click.echo(pages[page].text, nl=False)
    else:
        width = max(map(len, pages))
        for each in pages.values():
            click.echo(f"{each.name.ljust(width)}  {each.about}")


@click.command()
@click.option(
    "--table",
    is_flag=True,
    help="Print a table to read: key, unit, default, meaning.",
)
@click.option("--report", is_flag=True, help="Print the JSON Schema of report.json.")
@click.option(
    "--out",
    "-o",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The file to write. Without it, the schema is printed.",
)
def schema(table: bool, report: bool, out: Path | None) -> None:
    """List every key of a job, as a JSON Schema or as a table.

    Editors use the schema to complete and check a job while you type. The first line of a job that
    `millprep new` wrote names it: write it there with -o millprep-job.json.
    """
    if table and report:
        raise click.UsageError("--table is of the job's keys; leave out --report")
    if report:
        from millprep.report.report_model import Report

        text = json.dumps(Report.model_json_schema(), indent=2) + "\n"
    else:
        from millprep import job

        text = job.key_table() if table else json.dumps(job.schema(), indent=2) + "\n"
    if out is None:
        click.echo(text, nl=False)
        return
    if not out.parent.is_dir():
        raise click.UsageError(f"there is no folder {out.parent}")
    with terminal.refusals():
        writing.replace_file(out, text.encode())
    click.echo(f"wrote {out}")


@click.command()
@click.argument("folder", metavar="SET", type=click.Path(path_type=Path))
@json_option("Print the path of the sheet and open nothing.")
def show(folder: Path, as_json: bool) -> None:
    """Open the sheet of a set: the review, and the plan to print.

    Without a display only its path is printed. The sheet is a single file that needs only a
    browser. You can copy it anywhere.
    """
    sheet = folder / "sheet.html"
    if not (folder / "report.json").is_file() or not sheet.is_file():
        message = f"{folder} holds no set. Name the folder that a set was prepared in."
        with terminal.refusals():
            raise usage("no-set", message)
    with terminal.refusals():
        mark = load_mark(folder)
    if as_json:
        shown = {"sheet": str(sheet.resolve()), "begun": terminal.begun_rows(mark)}
        click.echo(json.dumps(shown))
        return
    click.echo(str(sheet))
    if has_display():
        if mark is not None:
            click.echo(f"begun: {mark.words} of set {mark.set}", err=True)
        click.launch(str(sheet))


def has_display() -> bool:
    """Whether a browser can show itself; only Linux and its kin may lack a display."""
    if sys.platform in ("darwin", "win32", "cygwin"):
        return True
    return any(os.environ.get(name) for name in ("DISPLAY", "WAYLAND_DISPLAY"))
