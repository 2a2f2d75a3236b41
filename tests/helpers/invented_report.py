"""Reports of invented sets, for what only needs their passes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from millprep.model.milling_pass import MillingPass
from millprep.report.report_model import Report
from tests.helpers.changed_set import with_blank
from tests.helpers.invented_set import invented


def report_of_passes(passes: Sequence[MillingPass], set_id: str) -> Report:
    """The report of a set of these passes, without programs."""
    whole = with_blank(invented(1), passes=tuple(passes), joins=())
    return Report.of(replace(whole, id=set_id))
