"""What explains: the pages of `millprep/guide/`, also as one page of HTML, and codes in words."""

from __future__ import annotations

import html
import re
import tomllib
from dataclasses import dataclass
from importlib.resources import files

NAMES = (
    *("first-board", "drawings", "fabrication-files", "cutters", "nets", "many-boards", "machine"),
    *("bench", "holding", "legend"),
    *("long-boards", "readings", "uneven-blank", "broken-cutter", "what-comes-out"),
    *("troubleshooting", "promises"),
)
"""The pages in the order in which a reader may need them."""
_REMARK = re.compile(r"^<!--.*?-->\n", re.M | re.S)
_OUTSIDE = re.compile(r"\[([^]]*)\]\(\.\./[^)]*\)")
_HEADING = re.compile(r"<h([12])>(.*?)</h\1>")
_STYLE = """
:root { color-scheme: light dark; }
body { font: 16px/1.5 sans-serif; max-width: 46rem; margin: 0 auto; padding: 1rem; }
article { border-top: 1px solid; margin-top: 3rem; }
pre { overflow-x: auto; border: 1px solid; padding: 0.6rem; }
code { font-size: 0.9em; }
table { border-collapse: collapse; display: block; overflow-x: auto; }
th, td { border: 1px solid; padding: 0.2rem 0.5rem; text-align: left; vertical-align: top; }
blockquote { border-left: 4px solid; margin: 0; padding-left: 1rem; }
"""


@dataclass(frozen=True, slots=True)
class GuidePage:
    """A page of the guide.

    Attributes:
        name: what a reader calls it by, the name of its file.
        text: Markdown, without the remarks that tests read.
    """

    name: str
    text: str

    @property
    def title(self) -> str:
        """Its first heading."""
        return self.text.partition("\n")[0].removeprefix("# ")

    @property
    def about(self) -> str:
        """Its first paragraph, in one line."""
        return " ".join(self.text.split("\n\n")[1].split())


def guide_pages() -> dict[str, GuidePage]:
    """Every page by its name, in the order of `NAMES`."""
    folder = files("millprep").joinpath("guide")
    texts = {name: folder.joinpath(f"{name}.md").read_text(encoding="utf-8") for name in NAMES}
    return {name: GuidePage(name, _REMARK.sub("", text)) for name, text in texts.items()}


def _article(page: GuidePage) -> str:
    """A page as HTML, its headings with names that links of other pages lead to."""
    from markdown_it import MarkdownIt

    text = MarkdownIt("commonmark").enable("table").render(_OUTSIDE.sub(r"\1", page.text))

    def named(heading: re.Match[str]) -> str:
        level, words = heading.groups()
        slug = "" if level == "1" else f"--{words.lower().replace(' ', '-')}"
        return f'<h{level} id="{page.name}{slug}">{words}</h{level}>'

    text = _HEADING.sub(named, text)
    text = re.sub(r'href="([\w-]+)\.md#([^"]*)"', r'href="#\1--\2"', text)
    return re.sub(r'href="([\w-]+)\.md"', r'href="#\1"', text)


def guide_html() -> str:
    """All pages in one file, with a list of them at the top; it needs no network."""
    pages = guide_pages()
    listed = "".join(
        f'<li><a href="#{page.name}">{html.escape(page.title)}</a>: '
        f"{html.escape(page.about)}</li>\n"
        for page in pages.values()
    )
    articles = "".join(f"<article>\n{_article(page)}</article>\n" for page in pages.values())
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width">\n'
        f"<title>The guide to millprep</title>\n<style>{_STYLE}</style>\n</head>\n<body>\n"
        f"<h1>The guide to millprep</h1>\n<ul>\n{listed}</ul>\n{articles}</body>\n</html>\n"
    )


@dataclass(frozen=True, slots=True)
class Explanation:
    """One code in words.

    Attributes:
        means: what is wrong.
        matters: what comes of it.
        do: the remedy.
        source: of the rule.
        was: the name that the code had in earlier versions, None if it always had this one.
        guide: the page of the guide that says more, None where none does.
    """

    code: str
    means: str
    matters: str
    do: str
    source: str
    was: str | None = None
    guide: str | None = None


def explanations() -> dict[str, Explanation]:
    """Every code there is, in alphabetical order."""
    text = files("millprep.report").joinpath("codes.toml").read_text(encoding="utf-8")
    loaded = tomllib.loads(text)
    return {code: Explanation(code=code, **loaded[code]) for code in sorted(loaded)}


def renamed() -> dict[str, str]:
    """The present name of every code that was renamed, by its old name."""
    return {known.was: code for code, known in explanations().items() if known.was is not None}
