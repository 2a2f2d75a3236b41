"""What `millprep check` found, as plain data."""

from __future__ import annotations

from typing import TYPE_CHECKING

from millprep.report.cutting_words import cutting_row
from millprep.report.record import Row, finding_row
from millprep.report.rules_record import rules_row

if TYPE_CHECKING:
    from millprep.model.set_of_programs import CutSet


def checked(cut_set: CutSet) -> Row:
    """What `millprep check --json` prints."""
    by_copy = {one.placement: one for one in cut_set.judged}
    return {
        "job": cut_set.job,
        "boards": [
            {
                "name": placement.board.name,
                "copy": placement.copy,
                "blank": placement.blank,
                "rules": rules_row(by_copy.get(placement.index)),
            }
            for placement in cut_set.layout.placements
        ],
        "programs": [
            {"file": one.file, "cutter": one.cutter, "cutting": cutting_row(one)}
            for one in cut_set.cutting
        ],
        "findings": [finding_row(finding) for finding in cut_set.findings],
    }
