from __future__ import annotations

import tomllib
from typing import Any

import jsonschema
import pytest

from millprep.job import key_table, schema
from millprep.job.reference import TABLES
from millprep.model.job.keys import keys
from tests.helpers.sample_job import JOB, changed

from .test_load import SPELT

VALIDATOR = jsonschema.Draft202012Validator(schema())


def test_every_key_is_documented() -> None:
    table = key_table()
    for heading, model in TABLES:
        assert (heading or "top of the file") in table
        for name, (_, field, doc) in keys(model).items():
            assert field.description == doc.sentence
            assert doc.meaning in table, name
            assert doc.meaning[0].isupper(), name
            assert doc.allowed, name
            if name != "kind":
                worked_out = doc.otherwise is not None or name in ("registration", "legend")
                assert bool(doc.default) is (worked_out or not field.is_required()), name
            if field.annotation in (float, float | None):
                assert doc.unit or name in ("overlap", "poisson"), f"{name} has no unit"


def test_the_table_holds_name_unit_default_and_meaning() -> None:
    lines = [" ".join(line.split()) for line in key_table().splitlines()]
    assert any(line.startswith("depth mm 0.08 Depth of the tip below the copper") for line in lines)
    assert "count - 1 Copies to make" in lines
    assert (
        "gap mm must be written Isolation width at the foot of the copper; by voltage it is as "
        "wide as [rules] spacing requires for the volts of the nets" in lines
    )
    assert "tip mm the preset's, or must be written Width of the flat tip" in lines


def test_the_schema_is_one_and_describes_every_property() -> None:
    jsonschema.Draft202012Validator.check_schema(schema())
    tables: list[dict[str, Any]] = [schema(), *schema()["$defs"].values()]
    for table in tables:
        assert table["additionalProperties"] is False
        for name, value in table["properties"].items():
            assert value.get("description"), name


@pytest.mark.parametrize("text", [JOB, SPELT])
def test_the_schema_accepts_what_the_loader_accepts(text: str) -> None:
    assert list(VALIDATOR.iter_errors(tomllib.loads(text))) == []


@pytest.mark.parametrize(
    "text",
    [
        changed('preset = "small-mill-300"', 'preset = "small-mill-300"\nclearence = 6.0'),
        changed('preset = "small-mill-300"', "above = 30"),
        changed("size = [500.0, 110.0]", "size = [500.0]"),
        changed("size = [500.0, 110.0]", ""),
        changed('drawn_from = "components"', 'drawn_from = "component"'),
        changed('preset = "endmill-2"', 'kind = "endmill"'),
        changed("[cutters.mill]", '[cutters."m ill"]'),
        changed("gap = 0.3", "gap = 0"),
        changed("gap = 0.3", "gap = true"),
        changed("spoilboard = 6.0", ""),
    ],
)
def test_the_schema_refuses_what_the_loader_refuses(text: str) -> None:
    assert list(VALIDATOR.iter_errors(tomllib.loads(text))) != []
