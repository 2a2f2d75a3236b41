"""The end of a walk by a finding that says stop."""

from __future__ import annotations

from dataclasses import replace

from millprep.model.finding import Refusal
from millprep.model.set_of_programs import CutSet


class Stopped(Exception):  # noqa: N818 - no error of the program: a finding says stop
    """The walk ends here; carries what was known."""

    def __init__(self, cut_set: CutSet) -> None:
        self.cut_set = cut_set
        super().__init__("stopped by a finding")


def stop(cut_set: CutSet) -> None:
    """End the walk when a finding says stop."""
    if any(f.severity == "stop" for f in cut_set.findings):
        raise Stopped(cut_set)


def stopped(cut_set: CutSet, refusal: Refusal) -> Stopped:
    """The end of the walk by a refusal from one of its steps."""
    return Stopped(replace(cut_set, findings=(*cut_set.findings, *refusal.findings)))
