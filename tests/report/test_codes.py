"""Every finding code of the source is explained, and nothing else."""

from __future__ import annotations

import ast
import re

import pytest

from millprep.report.guide import NAMES, explanations
from tests.helpers import house
from tests.helpers.codes import KEBAB, PACKAGE, codes, of_the_package

NO_CODES = {
    "line-type", "no-store",
    "cut-out", "counter-clockwise",  # kinds of edges, ways round
    "as-cut",  # names of files and pictures
    "broken-code", "broken-number", "broken-point", "missing-eof", "second-section",
    "unknown-section",  # kinds of damage in a DXF file
    "dry-run", "non-modal",  # kinds of programs and words
    "1-pin-holes", "2-spoilboard", "3-legend",  # folders of programs
    "endmill-2", "slim-mill",  # a preset, a cutter of a starter job
    "latin-1", "utf-8", "utf-8-sig",  # encodings
    *NAMES,  # pages of the guide
}  # fmt: skip
"""Words with hyphens that are no codes; a new one is listed here, or explained."""
FILLED = {
    "*-empty": {"copper-empty", "outline-empty", "holes-empty", "legend-empty"},
    "*-no-layer": {"copper-no-layer", "outline-no-layer", "holes-no-layer"},
}
"""Codes that are put together, and what comes of them."""


def hyphened() -> set[str]:
    """Every string of the package that could be a code."""
    return {
        node.value
        for file in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(node, ast.Constant)
        and isinstance(node.value, str)
        and KEBAB.fullmatch(node.value)
    }


def expected() -> set[str]:
    said = of_the_package()
    filled = {code for code in said if "*" in code}
    assert filled == set(FILLED)
    made = set[str]().union(*FILLED.values())
    return (said - filled) | made | (hyphened() - NO_CODES)


def test_every_code_of_the_source_is_explained() -> None:
    assert expected() - set(explanations()) == set()


def test_nothing_is_explained_that_the_source_does_not_say() -> None:
    assert set(explanations()) - expected() == set()


def test_explanations_are_sentences() -> None:
    for code, known in explanations().items():
        for part in (known.means, known.matters, known.do, known.source):
            assert part == part.strip()
            assert part[0].isupper() or part.startswith(("z ", "report.json"))
            assert part.endswith("."), part
            assert len(part) > 8, (code, part)
            assert house.TEXTS_LEFT.findall(re.sub(r"[\w-]*(?:-\w+)+", "", part)) == [], code


def test_no_two_codes_mean_the_same() -> None:
    means = [one.means for one in explanations().values()]
    assert len(set(means)) == len(means)


@pytest.mark.parametrize(
    ("source", "found"),
    [
        ("class Finding:\n    code: str\nFinding(code='a-b')", {"a-b"}),
        ("def note(code, words): ...\nnote('c-d', '')", {"c-d"}),
        ("class L:\n    def stop(self, code): ...\nledger.stop('e-f')", {"e-f"}),
        ("def note(code): ...\nnote('a-b' if x else 'c-d')", {"a-b", "c-d"}),
        ("def note(code): ...\nnote(f'{role}-empty')", {"*-empty"}),
        ("def note(code): ...\ndef f():\n    c = 'a-b'\n    note(c)", {"a-b"}),
        ("def note(words): ...\nnote('a-b')", set()),
    ],
)
def test_codes_are_found_where_they_are_said(source: str, found: set[str]) -> None:
    assert codes([source]) == found
