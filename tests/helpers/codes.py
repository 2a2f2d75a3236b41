"""Every finding code that the package's source spells.

A code is a string that reaches a parameter or a field called `code`: of `Finding` itself, of
a value that becomes one, or of a helper that makes one.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

PACKAGE = Path(__file__).parents[2] / "millprep"
KEBAB = re.compile(r"[a-z0-9]+(-[a-z0-9]+)+")
FUNCTION = (ast.FunctionDef, ast.AsyncFunctionDef)
Places = dict[str, int | None]
"""Where a call takes a code, by the name of what is called; None for the keyword alone."""


def takers(tree: ast.AST) -> Places:
    """What in a source takes a code: functions with such a parameter, classes with such a field."""
    found: Places = {}
    for node in ast.walk(tree):
        if isinstance(node, FUNCTION):
            names = [arg.arg for arg in (*node.args.posonlyargs, *node.args.args)]
            if "code" in names:
                found[node.name] = names.index("code") - (names[0] in ("self", "cls"))
            elif "code" in [arg.arg for arg in node.args.kwonlyargs]:
                found[node.name] = None
        elif isinstance(node, ast.ClassDef):
            fields = [
                item.target.id
                for item in node.body
                if isinstance(item, ast.AnnAssign) and isinstance(item.target, ast.Name)
            ]
            if "code" in fields:
                found[node.name] = fields.index("code")
    return found


def spelt(node: ast.expr, function: ast.AST) -> Iterator[str]:
    """What an expression may say: f-strings with * for what they fill in."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    elif isinstance(node, ast.IfExp):
        yield from spelt(node.body, function)
        yield from spelt(node.orelse, function)
    elif isinstance(node, ast.JoinedStr):
        yield "".join(str(p.value) if isinstance(p, ast.Constant) else "*" for p in node.values)
    elif isinstance(node, ast.Name):
        for one in ast.walk(function):
            targets = one.targets if isinstance(one, ast.Assign) else ()
            names = [target.id for target in targets if isinstance(target, ast.Name)]
            if node.id in names and isinstance(one, ast.Assign):
                yield from spelt(one.value, function)


def calls(tree: ast.AST, outer: ast.AST) -> Iterator[tuple[ast.Call, ast.AST]]:
    """Every call, with the function it stands in."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.Call):
            yield node, outer
        yield from calls(node, node if isinstance(node, FUNCTION) else outer)


def codes(sources: list[str]) -> set[str]:
    """Every code in the sources, taken together."""
    trees = [ast.parse(source) for source in sources]
    everywhere: Places = {}
    own = []
    for tree in trees:
        mine = takers(tree)
        own.append(mine)
        # a private helper is its module's own; others are known by name
        everywhere |= {name: at for name, at in mine.items() if not name.startswith("_")}
    found: set[str] = set()
    for tree, mine in zip(trees, own, strict=True):
        places = everywhere | mine
        for call, function in calls(tree, tree):
            name = call.func.attr if isinstance(call.func, ast.Attribute) else None
            name = call.func.id if isinstance(call.func, ast.Name) else name
            if name not in places:
                continue
            at = places[name]
            said = [word.value for word in call.keywords if word.arg == "code"]
            if at is not None and len(call.args) > at:
                said.append(call.args[at])
            for value in said:
                found |= set(spelt(value, function))
    return found


def of_the_package() -> set[str]:
    """Every code of the package."""
    return codes([file.read_text("utf-8") for file in sorted(PACKAGE.rglob("*.py"))])
