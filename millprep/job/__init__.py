"""The job file: read with places and mistakes, documented, and written to start from."""

from millprep.job.load import load, refusal_of
from millprep.job.presets import presets
from millprep.job.reference import key_table, schema
from millprep.job.starter import Start, starter, warnings

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
