"""Drawings of one board in many dialects."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from millprep.model.job.layers import LayerRoles, Selection

DIALECTS = Path(__file__).parents[2] / "fixtures" / "dialects"


NAMES = sorted(file.stem for file in DIALECTS.glob("*.dxf"))


def readings() -> list[tuple[str, int, dict[str, Any]]]:
    return [
        (name, number, one)
        for name in NAMES
        for number, one in enumerate(
            json.loads((DIALECTS / f"{name}.json").read_text(encoding="utf-8"))["readings"]
        )
    ]


def tupled(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def roles(layers: dict[str, Any]) -> LayerRoles:
    plain: dict[str, Any] = {}
    for key, value in layers.items():
        if key == "selections":
            value = tuple(Selection(**{k: tupled(v) for k, v in one.items()}) for one in value)
        elif isinstance(value, list):
            value = tuple(tuple(v) if isinstance(v, list) else v for v in value)
        plain[key] = value
    return LayerRoles(**plain)
