"""Words of the plan and of the pictures stand in one place each; templates and code hold none."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from string import Formatter

import pytest

import millprep.report
from millprep.report import picture_words, plan_words
from millprep.report.plan_words import say
from millprep.report.review import part

REPORT = Path(millprep.report.__file__).parent
CODE = {file.name: ast.parse(file.read_text("utf-8")) for file in sorted(REPORT.glob("*.py"))}
TEMPLATE = part("sheet.html.j2")
MODULES = {"plan_words": plan_words.WORDS, "picture_words": picture_words.WORDS}
HOLD_WORDS = {"words.py", "plan_words.py", "picture_words.py", "page_words.py",
              "rules_words.py", "cutting_words.py", "report_file.py",
              "report_model.py"}  # fmt: skip
"""The last four are read on a terminal as well, or in the schema of the report."""
NO_WORDS = {
    # fonts, places in pictures, file formats, commands
    "DejaVu Sans", "upper left", "offset points", "use strict", "millprep refit OUT",
    "--vernier READINGS", "--touches READINGS", "unit = ", "left = , right = ", "xmlns", "xml ",
    "<circle", "<ellipse", "<path", "default-src", "; img-src", "color-scheme",
    # what `proof/buzz_out.py` says, taken apart
    "at any time", "the links are soldered", "pads farthest apart", "at their narrowest",
    r"passes (\d+)",
}  # fmt: skip


def calls(module: str) -> list[tuple[str, ast.Call]]:
    """Calls of `say` in the files that take it from a module of words."""
    found = []
    for name, tree in CODE.items():
        nodes = list(ast.walk(tree))
        source = {n.module for n in nodes if isinstance(n, ast.ImportFrom)
                  and "say" in {a.name for a in n.names}}  # fmt: skip
        if source == {f"millprep.report.{module}"}:
            found += [
                (name, n) for n in nodes
                if isinstance(n, ast.Call) and getattr(n.func, "id", "") == "say"
            ]  # fmt: skip
    return found


def keys_of(node: ast.expr, words: dict[str, str]) -> set[str]:
    """The keys that a first argument may stand for; those of a pattern are all that match."""
    if isinstance(node, ast.Constant):
        assert isinstance(node.value, str)
        return {node.value}
    if isinstance(node, ast.IfExp):
        return keys_of(node.body, words) | keys_of(node.orelse, words)
    if isinstance(node, ast.JoinedStr):
        pattern = "".join(
            re.escape(str(p.value)) if isinstance(p, ast.Constant) else r"[a-z_]+"
            for p in node.values
        )
        return {key for key in words if re.fullmatch(pattern, key)}
    return set()


def used(module: str) -> set[str]:
    words = MODULES[module]
    found: set[str] = set()
    for _, call in calls(module):
        found |= keys_of(call.args[0], words)
    for name, tree in CODE.items():
        if name not in HOLD_WORDS:
            said = {n.value for n in ast.walk(tree) if isinstance(n, ast.Constant)}
            found |= {key for key in words if key in said}
    if module == "picture_words":
        return found
    found |= {key for key in words if f'"{key}"' in TEMPLATE}
    for prefix, names in re.findall(r'\{% for key.*? in \((.*?)\) %\}(.*?)\{% endfor', TEMPLATE,
                                    re.DOTALL):  # fmt: skip
        for name in re.findall(r'"(\w+)"', prefix):
            for start, end in re.findall(r'p\["([\w.]+\.)" ~ key(?: ~ "([\w.]+)")?\]', names):
                found.add(f"{start}{name}{end}")
    return found


@pytest.mark.parametrize("module", MODULES)
def test_every_word_that_is_said_is_there_and_every_word_is_said(module: str) -> None:
    found, words = used(module), set(MODULES[module])
    assert found - words == set()
    assert words - found == set()


@pytest.mark.parametrize("module", MODULES)
def test_what_is_filled_in_is_what_the_words_ask_for(module: str) -> None:
    checked = 0
    for file, call in calls(module):
        given = {word.arg for word in call.keywords}
        for key in keys_of(call.args[0], MODULES[module]):
            asked = {name for _, name, _, _ in Formatter().parse(MODULES[module][key]) if name}
            assert None in given or asked <= given, (file, key)
            checked += bool(asked)
    assert checked > 20


def strays(tree: ast.AST) -> list[str]:
    """Strings of two words or more that a person could read, without docstrings and errors."""
    nodes = list(ast.walk(tree))
    quiet = {id(n.value) for n in nodes if isinstance(n, ast.Expr)}
    quiet |= {id(m) for n in nodes if isinstance(n, ast.Raise) for m in ast.walk(n)}
    said = [n.value for n in nodes if isinstance(n, ast.Constant) and id(n) not in quiet
            and isinstance(n.value, str)]  # fmt: skip
    return [s for s in said if re.search(r"[A-Za-z]{2,} +[^ ]*[A-Za-z]{2,}", s)]


@pytest.mark.parametrize("file", [name for name in CODE if name not in HOLD_WORDS])
def test_the_code_holds_no_words(file: str) -> None:
    found = [s for s in strays(CODE[file]) if not any(known in s for known in NO_WORDS)]
    assert found == []


def test_stray_words_are_seen() -> None:
    assert strays(ast.parse('"""Two words."""\nx = f"cut in {n} two passes"\ny = "key.only"')) == [
        "cut in ", " two passes",
    ]  # fmt: skip


def test_a_value_is_no_pattern() -> None:
    assert say("set.id", set="{0} {set}") == "set {0} {set}"


@pytest.mark.parametrize("name", ["sheet.html.j2", "review.html.j2"])
def test_the_template_holds_no_words(name: str) -> None:
    text = re.sub(r"\{[{%].*?[%}]\}|<[^>]*>|&\w+;", " ", part(name), flags=re.DOTALL)
    # axes, an algorithm's name and signs are no words of a language
    assert set(re.findall(r"[A-Za-z]{2,}", text)) <= {"SHA"}
