"""What the tree of files promises."""

from __future__ import annotations

import ast
import re
import subprocess
from collections import Counter
from pathlib import Path

import pytest

from tests.helpers import house

ROOT = Path(__file__).parents[1]
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "millprep", "fixtures", "tests", "examples"}
KEBAB = re.compile(r"[a-z0-9]+(-[a-z0-9]+)+")
CALLS = {
    "Finding": None,
    "on_blank": 1,
    "on_drawing": 1,
    "stop": 0,
    "finding": 0,
    "each": 1,
    "Mistake": 0,
    "_refusal": 0,
}
"""What takes a finding's code, and where it stands when it is not named `code`."""


def kept_files() -> list[str]:
    """All files under version control."""
    listed = subprocess.run(
        ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=False
    )
    if listed.returncode != 0:
        pytest.skip("not a clone: git lists no files here")
    return [name for name in listed.stdout.split("\0") if name]


def test_the_top_level_holds_what_it_should_and_nothing_else() -> None:
    top = {name.split("/")[0] for name in kept_files()}
    assert {name for name in top if not name.startswith(".")} <= TOP


def codes(source: str) -> set[str]:
    """Every finding code that a source spells, f-strings with X for what they fill in."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if not isinstance(node, ast.Call):
            continue
        name = node.func.attr if isinstance(node.func, ast.Attribute) else None
        name = node.func.id if isinstance(node.func, ast.Name) else name
        if name not in CALLS:
            continue
        place = CALLS[name]
        said = [word.value for word in node.keywords if word.arg == "code"]
        if place is not None and len(node.args) > place:
            said.append(node.args[place])
        for value in said:
            if isinstance(value, ast.Constant):
                found.add(str(value.value))
            elif isinstance(value, ast.JoinedStr):
                parts = value.values
                found.add(
                    "".join(str(p.value) if isinstance(p, ast.Constant) else "x" for p in parts)
                )
    return found


def test_every_finding_code_is_kebab_case() -> None:
    spelt: set[str] = set()
    for file in (ROOT / "millprep").rglob("*.py"):
        spelt |= codes(file.read_text("utf-8"))
    assert {code for code in spelt if not KEBAB.fullmatch(code)} == set()
    # one code of each way to say one, so that the search itself is seen to work
    assert {"gap-too-narrow", "outline-open", "x-empty", "clamp-hit", "outside-travel"} <= spelt
    assert {"job-contradiction", "job-unknown-key"} <= spelt


@pytest.mark.parametrize(
    "bad", ["Finding(code='Gap_narrow')", "ledger.stop('gap')", "s.each(m, 'A-b')"]
)
def test_a_bad_code_is_found(bad: str) -> None:
    (code,) = codes(bad)
    assert not KEBAB.fullmatch(code)


def imported_tests(source: str) -> set[str]:
    """The test modules that a source imports."""
    modules: set[str] = set()
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.ImportFrom) and node.module is not None:
            modules |= {f"{node.module}.{name.name}" for name in node.names}
        elif isinstance(node, ast.Import):
            modules |= {name.name for name in node.names}
    return {name for name in modules if re.match(r"tests\b.*\.test_", name)}


@pytest.mark.parametrize(
    "file", sorted((ROOT / "tests").rglob("*.py")), ids=lambda f: str(f.relative_to(ROOT))
)
def test_no_test_imports_another_test(file: Path) -> None:
    assert imported_tests(file.read_text("utf-8")) == set()


def test_an_imported_test_is_seen() -> None:
    assert imported_tests("from tests.job.test_load import write") == {"tests.job.test_load.write"}
    assert imported_tests("from tests.helpers.small_job import run") == set()


def sources() -> dict[str, str]:
    """Every module of the package by its path, with its text."""
    return {
        file.relative_to(house.PACKAGE).as_posix(): file.read_text("utf-8")
        for file in house.modules()
    }


def test_no_name_and_no_text_has_a_word_that_was_left_behind() -> None:
    known = sources()
    assert len(known) > 100
    assert {file: left for file, s in known.items() if (left := house.names_left(s))} == {}
    assert {file: left for file, s in known.items() if (left := house.texts_left(s))} == {}
    # an exception that nothing needs any more goes too
    given = {name for s in known.values() for name in house.names(s)}
    assert set(house.NAMES_KEPT) <= given
    assert {p for p in house.TEXTS_KEPT if not any(p in s for s in known.values())} == set()


def test_a_word_that_was_left_behind_is_seen() -> None:
    bad = "class LandGap:\n  def told(self, asked: int) -> None:\n    self.one = found = asked\n"
    assert sorted(house.names_left(bad)) == ["LandGap", "asked", "found", "one", "told"]
    assert house.names_left("land = lands = ring = none = foundry = 1") == []
    assert house.texts_left('"""A mismatch it stands."""') == ["mismatch", "stands"]
    assert house.texts_left("f'a {mismatch} of `told`'  # a carriage return") == []


MODULES = 330
"""A package of more modules has some that belong together."""


def test_modules_and_functions_are_short_and_class_names_are_used_once() -> None:
    known = sources()
    assert len(known) <= MODULES
    assert {file for file, s in known.items() if s.count("\n") > 350} == set()
    spans = [(file, *span) for file, s in known.items() for span in house.functions(s)]
    assert [span for span in spans if span[2] > 80] == []
    names = Counter(name for s in known.values() for name in house.classes(s))
    assert [name for name, count in names.items() if count > 1] == []


def named_modules(text: str) -> list[str]:
    """The files in backticks that a text names with their room."""
    return re.findall(r"`((?:\w+/)+\w+\.\w+)`", text)


def test_every_module_that_the_developers_guide_names_exists() -> None:
    named = named_modules((ROOT / "DEVELOPERS.md").read_text("utf-8"))
    assert {"model/set_of_programs.py", "millprep/workflow/prepare.py"} <= set(named)
    there = [ROOT, house.PACKAGE]
    assert [name for name in named if not any((room / name).is_file() for room in there)] == []
