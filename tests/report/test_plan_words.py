"""The words of the plan stand in one place; the template and the code that fills it hold none."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from string import Formatter

import pytest

import millprep.report
from millprep.report.plan_words import WORDS, say
from millprep.report.review import part

REPORT = Path(millprep.report.__file__).parent
CODE = sorted(REPORT.glob("*.py"))
TEMPLATE = part("sheet.html.j2")


def calls() -> list[tuple[str, ast.Call]]:
    return [
        (file.name, node)
        for file in CODE
        for node in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "say"
    ]


def keys_of(node: ast.expr) -> set[str]:
    """The keys that a first argument may stand for; those of a pattern are all that match."""
    if isinstance(node, ast.Constant):
        assert isinstance(node.value, str)
        return {node.value}
    if isinstance(node, ast.IfExp):
        return keys_of(node.body) | keys_of(node.orelse)
    if isinstance(node, ast.JoinedStr):
        pattern = "".join(
            re.escape(str(p.value)) if isinstance(p, ast.Constant) else r"[a-z_]+"
            for p in node.values
        )
        return {key for key in WORDS if re.fullmatch(pattern, key)}
    return set()


def used() -> set[str]:
    found: set[str] = set()
    for _, call in calls():
        found |= keys_of(call.args[0])
    for file in CODE:
        text = file.read_text("utf-8")
        if file.name != "plan_words.py":
            found |= {key for key in WORDS if f'"{key}"' in text}
    found |= {key for key in WORDS if f'"{key}"' in TEMPLATE}
    for prefix, names in re.findall(r'\{% for key.*? in \((.*?)\) %\}(.*?)\{% endfor', TEMPLATE,
                                    re.DOTALL):  # fmt: skip
        for name in re.findall(r'"(\w+)"', prefix):
            for start, end in re.findall(r'p\["([\w.]+\.)" ~ key(?: ~ "([\w.]+)")?\]', names):
                found.add(f"{start}{name}{end}")
    return found


def test_every_word_that_is_said_is_there_and_every_word_is_said() -> None:
    found = used()
    assert found - set(WORDS) == set()
    assert set(WORDS) - found == set()


def test_what_is_filled_in_is_what_the_words_ask_for() -> None:
    checked = 0
    for file, call in calls():
        given = {word.arg for word in call.keywords}
        for key in keys_of(call.args[0]):
            asked = {name for _, name, _, _ in Formatter().parse(WORDS[key]) if name}
            assert asked <= given, (file, key)
            checked += bool(asked)
    assert checked > 30


def test_a_value_is_no_pattern() -> None:
    assert say("set.id", set="{0} {set}") == "set {0} {set}"


@pytest.mark.parametrize("name", ["sheet.html.j2", "review.html.j2"])
def test_the_template_holds_no_words(name: str) -> None:
    text = re.sub(r"\{[{%].*?[%}]\}|<[^>]*>|&\w+;", " ", part(name), flags=re.DOTALL)
    # axes, an algorithm's name and signs are no words of a language
    assert set(re.findall(r"[A-Za-z]{2,}", text)) <= {"SHA"}
