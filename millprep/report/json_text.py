"""JSON that a person can read and a machine can compare: fixed order, short things on a line."""

from __future__ import annotations

import json
from typing import Any

WIDTH = 110


def to_text(value: Any) -> str:
    """The value as JSON with a newline at its end.

    Raises:
        ValueError: for numbers JSON does not have (infinite, not a number).
    """
    return _lines(value, 0) + "\n"


def _lines(value: Any, indent: int) -> str:
    flat = json.dumps(value, ensure_ascii=False, allow_nan=False)
    if not value or not isinstance(value, (dict, list)) or len(flat) + indent <= WIDTH:
        return flat
    pad = " " * (indent + 1)
    if isinstance(value, dict):
        items = [
            f"{json.dumps(key, ensure_ascii=False)}: {_lines(item, indent + 1)}"
            for key, item in value.items()
        ]
        return "{\n" + ",\n".join(pad + item for item in items) + "\n" + pad[1:] + "}"
    items = [_lines(item, indent + 1) for item in value]
    return "[\n" + ",\n".join(pad + item for item in items) + "\n" + pad[1:] + "]"
