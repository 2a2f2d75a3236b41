"""Every key of the job file, told to editors as JSON Schema and to people as a table."""

from __future__ import annotations

from typing import Any

from millprep.job.bed import BlankTable, ClampTable, MachineTable, SetupTable
from millprep.job.board import BoardTable, LayersTable, SelectionTable
from millprep.job.clearing import ClearingTable, ClearTable
from millprep.job.dialect import DialectTable
from millprep.job.fields import Table, doc_of
from millprep.job.model import JobFile
from millprep.job.net import LoadTable, NetTable
from millprep.job.pins import PinsTable
from millprep.job.presets import presets
from millprep.job.rules import RulesTable
from millprep.job.tools import CUTTER_TABLES, CutterTable, DrillTable, EndMillTable, VeeTable
from millprep.job.wire import WireTable
from millprep.job.work import DrillingTable, IsolationTable, ProfileTable, RegistrationTable

TABLES: tuple[tuple[str, type[Table]], ...] = (
    ("", JobFile),
    ("[machine]", MachineTable),
    ("[machine.dialect]", DialectTable),
    ("[blank] or [[blank]]", BlankTable),
    ("[setup]", SetupTable),
    ("[[setup.clamp]]", ClampTable),
    ("[[board]]", BoardTable),
    ("[[board]] layers", LayersTable),
    ("[[board.selection]]", SelectionTable),
    ("[[board.wire]]", WireTable),
    ("[[board.net]]", NetTable),
    ("[[board.net.load]]", LoadTable),
    ("[[board.clear]]", ClearTable),
    ("[cutters.NAME]", CutterTable),
    ('[cutters.NAME], kind = "vee"', VeeTable),
    ('[cutters.NAME], kind = "endmill"', EndMillTable),
    ('[cutters.NAME], kind = "drill"', DrillTable),
    ("[isolation]", IsolationTable),
    ("[clearing]", ClearingTable),
    ("[drilling]", DrillingTable),
    ("[profile]", ProfileTable),
    ("[registration]", RegistrationTable),
    ("[rules]", RulesTable),
    ("[rules.pins]", PinsTable),
)
"""Every table, as the job file heads it."""

_PRESET_KINDS: dict[type[Table], str] = {
    MachineTable: "machines",
    BlankTable: "laminates",
    CutterTable: "cutters",
    PinsTable: "pins",
    **dict.fromkeys(CUTTER_TABLES.values(), "cutters"),
}


def schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of the job file, for editors."""
    made = JobFile.model_json_schema()
    made["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    made["title"] = "millprep job"
    for table, kind in _PRESET_KINDS.items():
        if table is not CutterTable:
            _allow_preset(made["$defs"][table.__name__], presets()[kind])
    blank = made["properties"]["blank"]
    made["properties"]["blank"] = {
        "description": blank.pop("description"),
        "anyOf": [{"$ref": "#/$defs/BlankTable"}, blank],
    }
    # A cutter from a preset does not write its kind, so more than one may match.
    cutters = made["properties"]["cutters"]
    cutters["additionalProperties"] = False
    for value in cutters["patternProperties"].values():
        value["anyOf"] = value.pop("oneOf")
        value.pop("discriminator", None)
    return made


def _allow_preset(table: dict[str, Any], known: dict[str, dict[str, Any]]) -> None:
    """Require a table's keys, or a preset instead of those it gives."""
    kind = table["properties"].get("kind", {}).get("const")
    given = {
        name: values for name, values in known.items() if kind is None or values["kind"] == kind
    }
    table["properties"]["preset"] = {
        "description": table["properties"]["preset"]["description"],
        "enum": list(given),
    }
    needed = table.pop("required")
    by_preset = set.intersection(*map(set, given.values())) | {"name"}
    table["anyOf"] = [
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


def _rows(table: type[Table]) -> list[tuple[str, str, str, str]]:
    """Name, unit, default and meaning of the keys that are a table's own."""
    # What every cutter has is told once; the three kinds then add theirs.
    told = CutterTable.model_fields if table in CUTTER_TABLES.values() else {}
    rows = []
    for name, field in table.model_fields.items():
        if name not in told:
            doc = doc_of(field)
            default = doc.default or _without_default(table, name)
            rows.append((name, doc.unit or "-", default, doc.meaning))
    return rows


def _without_default(table: type[Table], name: str) -> str:
    given = presets().get(_PRESET_KINDS.get(table, ""), {}).values()
    by_preset = any(name in values for values in given) or (table is MachineTable)
    return "the preset's, or must be written" if by_preset else "must be written"
