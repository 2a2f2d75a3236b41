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
    "geometry": set(),
    "standards": set(),
    "model": {"geometry", "standards"},
    "files": {"model"},
    "job": {"files", "geometry", "model", "standards"},
    "drawing": {"files", "geometry", "model"},
    "nesting": {"files", "geometry", "model"},
    "toolpaths": {"cache", "geometry", "model", "standards"},
    "gcode": {"cache", "geometry", "model"},
    "passes": {"cache", "geometry", "model", "nesting", "toolpaths", "gcode"},
    "verify": {"cache", "files", "geometry", "model", "standards"},
    "report": {"cache", "files", "geometry", "model", "gcode"},
    "workflow": {
        *("__version__", "cache"),
        *("files", "geometry", "standards", "model", "job", "drawing", "nesting"),
        *("toolpaths", "gcode", "passes", "verify", "report"),
    },
}
"""What a room may import of the package; itself always. Rooms are in the order of the walk."""

ALL = {"", "at_machine", "cli"}
"""These may import everything: the package's own functions, which import when they are called, and
the last two rooms, which only `cli` imports."""

SHARED_WITH_THE_PROOF = {"path", "pose", "letters"}
"""Modules of `geometry` that `verify` shares with what it judges: lines, arcs and turned frames as
values with exact formulas, and the shapes of letters. No path of a board is planned by them, so a
fault there hides no wrong path."""

LATE = {
    "scipy": {"geometry", "toolpaths", "verify", "at_machine"},
    "skfem": {"verify"},
}
"""Libraries that these rooms alone may import, and only when they come to use them."""
MODULES = sorted(PACKAGE.rglob("*.py"))


def room_of(file: Path) -> str:
    """The room of a module; "" for the package itself."""
    first, *rest = file.relative_to(PACKAGE).parts
    return first if rest else ""


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


def faults(room: str, source: str) -> list[str]:
    """What a source in this room may not import."""
    found = []
    for name in sorted(imports(source)):
        top, *rest = name.split(".")
        if top in LATE and (room not in LATE[top] or name in imports(source, late=False)):
            found.append(name)
        if top != "millprep" or room in ALL:
            continue
        target, *inner = rest
        if target != room and target not in ALLOWED.get(room, set()):
            found.append(name)
        if (room, target) == ("verify", "geometry") and inner[0] not in SHARED_WITH_THE_PROOF:
            found.append(name)
    return found


@pytest.mark.parametrize("file", MODULES, ids=lambda f: str(f.relative_to(PACKAGE)))
def test_a_module_imports_only_what_its_room_may(file: Path) -> None:
    assert faults(room_of(file), file.read_text("utf-8")) == []


def test_every_room_has_a_rule() -> None:
    assert {room_of(file) for file in MODULES} == set(ALLOWED) | ALL


@pytest.mark.parametrize(
    ("room", "source", "fault"),
    [
        ("verify", "from millprep.gcode import rs274", "millprep.gcode.rs274"),
        ("verify", "import millprep.toolpaths.isolation", "millprep.toolpaths.isolation"),
        ("verify", "from millprep.geometry import offset", "millprep.geometry.offset"),
        ("verify", "from millprep import passes", "millprep.passes"),
        ("verify", "def late():\n    from millprep.gcode.rs274 import number",
         "millprep.gcode.rs274.number"),
        ("model", "from millprep.job.places import Place", "millprep.job.places.Place"),
        ("drawing", "if 1:\n    from millprep.workflow.prepare import prepare",
         "millprep.workflow.prepare.prepare"),
        ("toolpaths", "from scipy import spatial", "scipy.spatial"),
        ("gcode", "def late():\n    from scipy import spatial", "scipy.spatial"),
        ("verify", "from scipy import spatial", "scipy.spatial"),
        ("verify", "class Early:\n    from scipy import spatial", "scipy.spatial"),
        ("nowhere", "from millprep.model import board", "millprep.model.board"),
    ],
)  # fmt: skip
def test_a_source_that_breaks_the_rules_is_found(room: str, source: str, fault: str) -> None:
    assert faults(room, source) == [fault]


def test_a_source_that_keeps_the_rules_is_not() -> None:
    source = "import numpy\nfrom millprep.geometry.path import Path\n"
    assert faults("verify", source) == []
    assert faults("verify", "def late():\n    from scipy import spatial") == []


HEAVY = (
    "fontTools", "resvg", "shapely", "ezdxf", "pydantic", "numpy", "jinja2", "scipy", "skfem",
)  # fmt: skip


def loaded_by(statement: str) -> set[str]:
    """The heavy libraries that are loaded once a fresh interpreter has run a statement."""
    code = f"{statement}\nimport sys\nprint(*[m for m in {HEAVY!r} if m in sys.modules])"
    run = subprocess.run(
        [sys.executable, "-c", code], cwd=PACKAGE.parent, capture_output=True, text=True, check=True
    )
    return set(run.stdout.split())


@pytest.mark.parametrize("start", ["import millprep", "import millprep.cli"])
def test_the_package_and_the_command_line_start_without_heavy_libraries(start: str) -> None:
    assert loaded_by(start) == set()


def test_what_a_statement_loads_is_seen() -> None:
    assert "shapely" in loaded_by("import millprep.model.board")
