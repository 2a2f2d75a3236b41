"""The job file: read with places and mistakes, documented, and written to start from."""

from millprep.job.copies import INDEX
from millprep.job.load import load, refusal_of
from millprep.job.presets import presets
from millprep.job.reference import key_table, schema
from millprep.job.starter import SCHEMA_FILE, Bench, starter, warnings
from millprep.job.starter_board import Start, left_open

__all__ = [
    "INDEX",
    "SCHEMA_FILE",
    "Bench",
    "Start",
    "key_table",
    "left_open",
    "load",
    "presets",
    "refusal_of",
    "schema",
    "starter",
    "warnings",
]
