"""The house's import rules: data walks one way, and a heavy library is loaded late."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "millprep"

ALLOWED: dict[str, set[str]] = {
    "values": set(),
    "trade": set(),
    "job": {"values", "trade"},
    "drawing": {"values"},
    "layout": {"values"},
    "paths": {"values", "trade"},
    "passes": {"values"},
    "program": {"values"},
    "proof": {"values", "trade"},
    "rules": {"values", "trade"},
    "report": {"values"},
    "explain": set(),
    "shop": {"values", "passes", "program"},
    "one_blank": {"values", "paths", "passes", "program"},
    "compare": {"values", "shop"},
    # the steps of walks, each by itself
    "steps": set(),
    "steps/inputs": {"__version__", "values", "job", "drawing", "steps/nets", "steps/laying"},
    "steps/nets": {"values"},
    "steps/judging": {"values", "rules"},
    "steps/laying": {"values", "layout", "steps/moved"},
    "steps/layout_files": {"values", "layout", "steps/laying"},
    "steps/moved": {"values", "layout", "passes", "one_blank"},
    "steps/begun": {"values"},
    "steps/set_on_disk": {"values", "steps/begun"},
    "steps/beside": set(),
    "steps/readback": {"values", "proof"},
    "steps/readback_resumed": {"values", "proof", "steps/readback"},
    "steps/levelling": {"values", "program"},
    "steps/earlier": {"values", "shop", "steps/inputs", "steps/laying"},
    "steps/stopped": {"values"},
    "steps/planning": {
        "values", "one_blank", "steps/inputs", "steps/laying", "steps/nets", "steps/stopped",
    },
    "steps/writing": {"values", "program", "steps/levelling"},
}
"""What a folder, or a module beside the walk, may import of the package; itself always."""

ALL = {"prepare", "lay_out", "check", "refit", "probe", "level", "resume", "begin", "verify", "cli"}
"""These may import everything, and nothing but `cli` imports these."""

LATE = {"scipy": "rules"}
"""Libraries that one part alone may import, and only when it comes to use them."""
MODULES = sorted(PACKAGE.rglob("*.py"))


def part_of(file: Path) -> str:
    """The folder of a module, or the name of a module at the top; "" for the package itself.

    Each of the steps is a part of its own.
    """
    return named(*file.relative_to(PACKAGE).with_suffix("").parts)


def named(first: str = "", *rest: str) -> str:
    """The part of the package that a dotted name within it belongs to."""
    if first == "steps" and rest and rest[0] != "__init__":
        return f"steps/{rest[0]}"
    return first.replace("__init__", "")


FUNCTION = (ast.FunctionDef, ast.AsyncFunctionDef)


def nodes(tree: ast.AST, *, late: bool) -> Iterator[ast.AST]:
    """All nodes below one; without `late`, none that waits in a function until it is called."""
    for node in ast.iter_child_nodes(tree):
        if late or not isinstance(node, FUNCTION):
            yield node
            yield from nodes(node, late=late)


def imports(source: str, *, late: bool = True) -> set[str]:
    """Full names of all that a source imports, wherever in it or only when it is loaded."""
    found: set[str] = set()
    for node in nodes(ast.parse(source), late=late):
        if isinstance(node, ast.Import):
            found |= {name.name for name in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "a relative import"
            assert node.module is not None
            found |= {f"{node.module}.{name.name}" for name in node.names}
    return found


def faults(part: str, source: str) -> list[str]:
    """What a source in this part of the package may not import."""
    found = []
    for name in sorted(imports(source)):
        top, *rest = name.split(".")
        if name.startswith("matplotlib.pyplot"):
            found.append(name)
        if top in LATE and (LATE[top] != part or name in imports(source, late=False)):
            found.append(name)
        if top != "millprep" or part in ALL:
            continue
        target = named(*rest)
        if target != part and target not in ALLOWED.get(part, set()):
            found.append(name)
    return found


@pytest.mark.parametrize("file", MODULES, ids=lambda f: str(f.relative_to(PACKAGE)))
def test_a_module_imports_only_what_its_folder_may(file: Path) -> None:
    assert faults(part_of(file), file.read_text("utf-8")) == []


def test_every_part_of_the_package_has_a_rule() -> None:
    assert {part_of(file) for file in MODULES} - {""} == set(ALLOWED) | ALL


@pytest.mark.parametrize(
    ("part", "source", "fault"),
    [
        ("proof", "from millprep.program import rs274", "millprep.program.rs274"),
        ("proof", "import millprep.paths.arcs", "millprep.paths.arcs"),
        ("proof", "from millprep import passes", "millprep.passes"),
        ("proof", "def late():\n    from millprep.program.sink import number",
         "millprep.program.sink.number"),
        ("values", "from millprep.trade.groove import width", "millprep.trade.groove.width"),
        ("drawing", "if 1:\n    from millprep.prepare import prepare", "millprep.prepare.prepare"),
        ("report", "import matplotlib.pyplot as plt", "matplotlib.pyplot"),
        ("cli", "from matplotlib import pyplot", "matplotlib.pyplot"),
        ("paths", "from scipy import spatial", "scipy.spatial"),
        ("paths", "def late():\n    from scipy import spatial", "scipy.spatial"),
        ("rules", "from scipy import spatial", "scipy.spatial"),
        ("rules", "class Early:\n    from scipy import spatial", "scipy.spatial"),
        ("nowhere", "from millprep.values import path", "millprep.values.path"),
    ],
)  # fmt: skip
def test_a_source_that_breaks_the_rules_is_found(part: str, source: str, fault: str) -> None:
    assert faults(part, source) == [fault]


def test_a_source_that_keeps_the_rules_is_not() -> None:
    source = "import numpy\nfrom millprep.values.path import Path\nfrom millprep.proof import body"
    assert faults("proof", source) == []
    assert faults("rules", "def late():\n    from scipy import spatial") == []


HEAVY = ("matplotlib", "shapely", "ezdxf", "pydantic", "numpy", "jinja2", "scipy")


def loaded_by(statement: str) -> set[str]:
    """The heavy libraries that are loaded once a fresh interpreter has run a statement."""
    code = f"{statement}\nimport sys\nprint(*[m for m in {HEAVY!r} if m in sys.modules])"
    run = subprocess.run(
        [sys.executable, "-c", code], cwd=PACKAGE.parent, capture_output=True, text=True, check=True
    )
    return set(run.stdout.split())


def test_the_command_line_starts_without_heavy_libraries() -> None:
    assert loaded_by("import millprep.cli") == set()


def test_what_a_statement_loads_is_seen() -> None:
    assert "shapely" in loaded_by("import millprep.values.board")
