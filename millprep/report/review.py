"""The review part of sheet.html: data, style and script, all inside the page."""

from __future__ import annotations

import base64
import hashlib
import json
from dataclasses import dataclass
from importlib.resources import files
from typing import Any

from millprep.model.set_of_programs import CutSet
from millprep.report.palette import SCHEMES, scheme, screen_colours, style_variables
from millprep.report.review_data import scene_data

LAYERS = (
    ("design", "Copper as drawn", True),
    ("asCut", "Copper left when finished", True),
    ("differences", "Differences", True),
    ("paths", "Paths", False),
    ("air", "Travel moves", False),
    ("holes", "Holes", True),
    ("tabs", "Tabs", True),
    ("clamps", "Clamps", True),
    ("windows", "Machine travel", True),
    ("zero", "Work zero, Z touch", True),
    ("names", "Board names", True),
    ("joins", "Joins", True),
    ("registration", "Registration", True),
    ("verniers", "Verniers", True),
    ("restarts", "Restart points", False),
    ("findings", "Findings", True),
)
"""Layers that can be switched: key, words, whether it is on at first."""

SCRIPTS = (
    "read.js", "view.js", "clock.js", "paint.js", "paths.js", "marks.js", "signs.js", "gaps.js",
    "point.js", "restarts.js", "differences.js", "nets.js", "overlay.js", "lists.js", "find.js",
    "controls.js", "input.js", "joins.js", "slide.js", "mill.js", "depth.js",
    "page.js",
)  # fmt: skip
"""The script's parts, in the order they have in the page."""

DEPTH_SCRIPTS = ("section.js", "profile.js", "tilt.js", "depth_panel.js")
"""Parts of the depth view, which the page runs once it is wanted."""


@dataclass(frozen=True, slots=True)
class Review:
    """What the template puts into the page.

    Attributes:
        data: JSON that holds no character of HTML.
        depth: the script of the depth view, text in the page until it is wanted.
        policy: content security policy: these scripts and nothing from elsewhere.
        drawn: whether there is a blank to draw.
    """

    data: str
    style: str
    script: str
    depth: str
    policy: str
    drawn: bool


def review(cut_set: CutSet, *, refused: bool = False, unread: bool = False) -> Review:
    """The review of a set."""
    script, depth, style = _script(), _depth_script(), _style()
    return Review(
        data=to_script_json(
            {**scene_data(cut_set, refused=refused, unread=unread), "colours": screen_colours()}
        ),
        style=style,
        script=script,
        depth=depth,
        policy=(
            f"default-src 'none'; script-src {_digest(script)} {_digest(depth)}; "
            f"style-src {_digest(style)}; img-src data:; base-uri 'none'; form-action 'none'"
        ),
        drawn=bool(cut_set.blanks),
    )


def to_script_json(value: Any) -> str:
    """JSON that may be in a script element: nothing in it can end the element.

    Raises:
        ValueError: for numbers JSON does not have.
    """
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    for letter in "<>&":
        text = text.replace(letter, f"\\u{ord(letter):04x}")
    return text


def _digest(text: str) -> str:
    """How a content security policy names a script or style by its own bytes."""
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


def part(name: str) -> str:
    """A file of the page."""
    return files("millprep.report").joinpath("page", name).read_text(encoding="utf-8")


def _script() -> str:
    """All parts as one function, so that no name of theirs meets one of the browser's."""
    return '"use strict";\n(() => {\n' + "".join(part(name) for name in SCRIPTS) + "})();\n"


def _depth_script() -> str:
    """A function that takes what it shares with the other script and gives the panel."""
    parts = "".join(part(name) for name in DEPTH_SCRIPTS)
    head = '"use strict";\nwindow.millprepDepth = (page) => {\n'
    return f"{head}{parts}return depthPanel(page);\n}};\n"


def _style() -> str:
    light, dark = (style_variables(scheme(name)) for name in SCHEMES)
    return (
        f":root {{ {light}; color-scheme: light }}\n"
        f'@media screen {{ [data-light="dark"] {{ {dark}; color-scheme: dark }} }}\n'
        + part("review.css")
        + part("plan.css")
    )
