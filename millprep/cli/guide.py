"""`millprep guide`: the guide, in the terminal or in the browser."""

from __future__ import annotations

from pathlib import Path

import click

from millprep.cli import terminal
from millprep.model.finding import usage


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
