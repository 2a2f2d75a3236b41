"""The end of a walk by a finding that says stop."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
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


@contextlib.contextmanager
def stops(cut_set: CutSet) -> Iterator[None]:
    """A step whose refusal ends the walk, with what was known before it."""
    try:
        yield
    except Refusal as refusal:
        if refusal.exit_code != 1:
            # a mistake in the job or the call
            raise
        findings = (*cut_set.findings, *refusal.findings)
        raise Stopped(replace(cut_set, findings=findings)) from refusal
