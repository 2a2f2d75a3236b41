"""Every key of the job file: as JSON Schema for editors, and as a table for people."""

from __future__ import annotations

from typing import Any

from pydantic import TypeAdapter

from millprep.job.presets import KINDS, presets
from millprep.job.reading import CUTTER_NAME
from millprep.model.blank import Clamp
from millprep.model.cutter import Cutter, Drill, EndMill, Vee
from millprep.model.dialect import Dialect
from millprep.model.job.board import BoardPlan, LayoutTable, PlacePlan
from millprep.model.job.isolation import IsolationPlan
from millprep.model.job.job import BlankPlan, JobPlan
from millprep.model.job.keys import JobTable, keys
from millprep.model.job.layers import DrawingPlan, LayersTable, Selection
from millprep.model.job.nets import ClearArea, Load, NetPlan, WirePlan
from millprep.model.job.rules import RulesPlan, SocketPin
from millprep.model.job.setup import RegistrationPlan, SetupTable
from millprep.model.job.work import ClearingPlan, DrillingPlan, LegendPlan, ProfilePlan
from millprep.model.machine import Machine
from millprep.model.machine_time import TimePlan

TABLES: tuple[tuple[str, type[JobTable]], ...] = (
    ("", JobPlan),
    ("[machine]", Machine),
    ("[machine.time]", TimePlan),
    ("[machine.dialect]", Dialect),
    ("[blank] or [[blank]]", BlankPlan),
    ("[setup]", SetupTable),
    ("[[setup.clamp]]", Clamp),
    ("[[board]]", BoardPlan),
    ("[[board]] drawing", DrawingPlan),
    ("[[board]] layers", LayersTable),
    ("[[board.selection]]", Selection),
    ("[[board.place]]", PlacePlan),
    ("[[board.wire]]", WirePlan),
    ("[[board.net]]", NetPlan),
    ("[[board.net.load]]", Load),
    ("[[board.clear]]", ClearArea),
    ("[layout]", LayoutTable),
    ("[cutters.NAME]", Cutter),
    ('[cutters.NAME], kind = "vee"', Vee),
    ('[cutters.NAME], kind = "endmill"', EndMill),
    ('[cutters.NAME], kind = "drill"', Drill),
    ("[isolation]", IsolationPlan),
    ("[clearing]", ClearingPlan),
    ("[drilling]", DrillingPlan),
    ("[profile]", ProfilePlan),
    ("[registration]", RegistrationPlan),
    ("[legend]", LegendPlan),
    ("[rules]", RulesPlan),
    ("[rules.pins]", SocketPin),
)
"""Every table, as the job file heads it."""

_PRESET_KINDS: dict[type[JobTable], str] = {
    Machine: "machines",
    BlankPlan: "laminates",
    Cutter: "cutters",
    Vee: "cutters",
    EndMill: "cutters",
    Drill: "cutters",
    SocketPin: "pins",
}


def schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the job file, for editors."""
    made = TypeAdapter(JobPlan).json_schema()
    made["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    made["title"] = "millprep job"
    for heading, table in TABLES:
        if table is not Cutter:
            _only_keys(made["$defs"][table.__name__] if heading else made, table)
    for table, kind in _PRESET_KINDS.items():
        if table is not Cutter:
            _allow_preset(made["$defs"][table.__name__], presets()[kind])
    # all else may be in the bench file
    made["required"] = ["board"]
    board = made["$defs"]["BoardPlan"]["properties"]
    made["$defs"]["BoardPlan"]["required"].remove("drawn_from")
    drawing = board["drawing"]
    board["drawing"] = {
        "description": drawing.pop("description"),
        "anyOf": [{"type": "string", "minLength": 1}, drawing],
    }
    properties = made["properties"]
    properties["presets"] = {
        "description": "Presets of your own, one [presets.KIND.NAME] each; best in the bench file",
        "type": "object",
        "additionalProperties": False,
        "properties": {
            kind: {"type": "object", "additionalProperties": {"type": "object"}} for kind in KINDS
        },
    }
    blanks = properties["blank"]
    properties["blank"] = {
        "description": blanks.pop("description"),
        "anyOf": [blanks["items"], blanks],
    }
    cutters = properties["cutters"]
    properties["cutters"] = {
        "description": cutters["description"],
        "type": "object",
        "minProperties": 1,
        "additionalProperties": False,
        # A cutter from a preset does not write its kind, so several may match.
        "patternProperties": {f"^{CUTTER_NAME}$": {"anyOf": cutters["items"]["anyOf"]}},
    }
    return made


def _only_keys(definition: dict[str, Any], table: type[JobTable]) -> None:
    """Leave out what is no key, and require those that have no default, worked out or not."""
    known = keys(table)
    properties = definition["properties"]
    definition["properties"] = {name: properties[name] for name in known}
    definition["required"] = [name for name, key in known.items() if not key.doc.default]


def _allow_preset(definition: dict[str, Any], known: dict[str, dict[str, Any]]) -> None:
    """Require a table's keys, or a preset instead of those it gives."""
    kind = definition["properties"].get("kind", {}).get("const")
    given = {
        name: values for name, values in known.items() if kind is None or values["kind"] == kind
    }
    definition["properties"]["preset"] = {
        "description": definition["properties"]["preset"]["description"],
        # or one of [presets], here or in the bench file
        "anyOf": [{"enum": list(given)}, {"type": "string"}],
    }
    needed = definition.pop("required")
    by_preset = set.intersection(*map(set, given.values())) | {"name"}
    definition["anyOf"] = [
        {"required": needed},
        {"required": ["preset", *(key for key in needed if key not in by_preset)]},
    ]


def key_table() -> str:
    """Every key of the job file in plain text: name, unit, default, meaning."""
    blocks = [(heading or "top of the file", _rows(table)) for heading, table in TABLES]
    rows = [row for _, block in blocks for row in block]
    widths = [max(len(row[i]) for row in rows) for i in range(3)]
    lines: list[str] = []
    for heading, block in blocks:
        lines += ["", heading]
        for *cells, meaning in block:
            padded = (cell.ljust(width) for cell, width in zip(cells, widths, strict=True))
            lines.append("  ".join(["", *padded, meaning]))
    return "\n".join(lines[1:]) + "\n"


def _rows(table: type[JobTable]) -> list[tuple[str, str, str, str]]:
    """Name, unit, default and meaning of the keys that are a table's own."""
    # What every cutter has is listed once; the three kinds then add theirs.
    common = keys(Cutter) if issubclass(table, Cutter) and table is not Cutter else {}
    return [
        (
            name,
            key.doc.unit or "-",
            key.doc.default or _without_default(table, name),
            key.doc.meaning,
        )
        for name, key in keys(table).items()
        if name not in common
    ]


def _without_default(table: type[JobTable], name: str) -> str:
    given = presets().get(_PRESET_KINDS.get(table, ""), {}).values()
    by_preset = any(name in values for values in given) or table is Machine
    return "the preset's, or must be written" if by_preset else "must be written"
