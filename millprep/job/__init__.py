"""The job file: one TOML file that says everything."""

from millprep.job.load import load, refusal_of
from millprep.job.presets import presets
from millprep.job.reference import key_table, schema
from millprep.job.start import Start
from millprep.job.starter import starter, warnings

__all__ = [
    "Start",
    "key_table",
    "load",
    "presets",
    "refusal_of",
    "schema",
    "starter",
    "warnings",
]
