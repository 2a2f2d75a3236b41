"""Ready-made machines, cutters, laminates and socket pins, shipped as TOML."""

from __future__ import annotations

import copy
import tomllib
from functools import cache
from importlib import resources
from typing import Any

from millprep.model.job.mistakes import KeyPath, Mistake, near, nearest, plain, quoted

KINDS = ("machines", "cutters", "laminates", "pins")
NOTES = ("meaning", "source")
"""Keys of a preset that inform a person and are no part of the job."""


def presets() -> dict[str, dict[str, dict[str, Any]]]:
    """Every preset: kind ("machines", "cutters", "laminates", "pins"), name, then its keys.

    Each has the keys of the job file's table, and `meaning` and `source`, which says where its
    values come from.
    """
    return {kind: copy.deepcopy(_read(kind)) for kind in KINDS}


@cache
def _read(kind: str) -> dict[str, dict[str, Any]]:
    file = resources.files("millprep.job") / "presets" / f"{kind}.toml"
    return tomllib.loads(file.read_text(encoding="utf-8"))


def with_presets(data: dict[str, Any]) -> tuple[dict[str, Any], list[Mistake], set[KeyPath]]:
    """Put the values of the named presets under the keys that are written.

    Returns the filled copy, the mistakes, and the tables whose preset is unknown: what they
    lack is no second mistake.
    """
    filled = dict(data)
    mistakes: list[Mistake] = []
    at_fault: set[KeyPath] = set()

    def fill(table: Any, kind: str, path: KeyPath) -> Any:
        if not isinstance(table, dict) or not isinstance(table.get("preset"), str):
            return table
        name, known = table["preset"], _read(kind)
        if name not in known:
            at_fault.add(path)
            words = f"is no {kind[:-1]} preset: {plain(name)}{near(name, list(known))}"
            words += f"; available: {quoted(list(known))}"
            mistakes.append(Mistake("job-unknown-preset", (*path, "preset"), words))
            # The likeliest takes its place, so that the other keys can be checked.
            name = nearest(name, known) or next(iter(known))
        values = {key: value for key, value in known[name].items() if key not in NOTES}
        if kind == "machines":
            values = {"name": name, **values}
        if table.get("kind", values.get("kind")) != values.get("kind"):
            words = f"is {plain(values['kind'])}: {plain(name)}; kind says {plain(table['kind'])}"
            mistakes.append(Mistake("job-contradiction", (*path, "preset"), words))
            table = {key: value for key, value in table.items() if key != "kind"}
        if isinstance(values.get("dialect"), dict) and isinstance(table.get("dialect"), dict):
            # features are replaced each by itself
            table = {**table, "dialect": {**values["dialect"], **table["dialect"]}}
        return {**values, **table}

    filled["machine"] = fill(data.get("machine"), "machines", ("machine",))
    if isinstance(data.get("blank"), list):
        filled["blank"] = [
            fill(table, "laminates", ("blank", i)) for i, table in enumerate(data["blank"])
        ]
    if isinstance(data.get("cutters"), dict):
        filled["cutters"] = {
            name: fill(table, "cutters", ("cutters", name))
            for name, table in data["cutters"].items()
        }
    rules = data.get("rules")
    if isinstance(rules, dict) and "pins" in rules:
        filled["rules"] = {**rules, "pins": fill(rules["pins"], "pins", ("rules", "pins"))}
    if "machine" not in data:
        del filled["machine"]
    return filled, mistakes, at_fault
