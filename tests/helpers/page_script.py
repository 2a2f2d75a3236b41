"""Parts of the review page's script run by themselves in a browser, without the page."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

from millprep.report.review import part

if TYPE_CHECKING:
    from playwright.sync_api import Page

PROGRAM = """
const program = (cutter, places, more = {}) => {
  const n = places.length - 1;
  const column = (k) => places.map((place) => place[k]);
  const [X, Y, mz] = [column(0), column(1), column(2)];
  const zeros = () => new Array(n).fill(0);
  const box = [Math.min(...X) - 9, Math.min(...Y) - 9, Math.max(...X) + 9, Math.max(...Y) + 9];
  return { cutter, n, X, Y, mx: X, my: Y, mz, arcs: new Map(), spins: true, width: zeros(),
    wait: zeros(), stage: null, index: 0, chunks: [{ from: 0, to: n, box }], ...more };
};
"""
"""A program of straight moves between places [x, y, z]."""


def run(page: Page, parts: tuple[str, ...], stubs: str, expression: str, given: Any = None) -> Any:
    """The value of an expression after the parts; `given` is there under that name."""
    script = "\n".join(part(name) for name in parts)
    body = f"{stubs}\n{script}\nreturn ({expression});"
    return page.evaluate(f"(given) => {{ {body} }}", given)


def vee(tip: float, angle: float) -> str:
    """A vee as the page has it."""
    return json.dumps({"kind": "vee", "name": "vee", "tip": tip, "angle": angle})
