"""A job held against every rule, without a set being written."""

from __future__ import annotations

import tempfile
from pathlib import Path

from millprep import job
from millprep.model.set_of_programs import CutSet
from millprep.toolpaths import least_time
from millprep.workflow.inputs import read_boards, read_nets, with_stored
from millprep.workflow.planning import Say, Stopped, empty
from millprep.workflow.prepare import walk


def check(job_file: Path, say: Say = lambda _: None, *, repair: bool = False) -> CutSet:
    """Do what `prepare` does in a folder of its own that is thrown away, and judge all boards.

    Args:
        job_file: the TOML file.
        say: takes the name of every step as it begins.
        repair: mend drawings that do not open as they are, as far as the job accepts it.

    Returns:
        what was made, or what was known when a finding said stop.

    Raises:
        Refusal: for mistakes in job or drawings.
    """
    say("reading the job")
    plan = job.load(job_file)
    say("reading the drawings")
    boards = read_boards(plan, repair=repair)
    plan = least_time.chosen(plan, boards)
    facts = read_nets(plan, boards, job_file)
    choice = with_stored(plan, None)
    cut_set = empty(plan, job_file, boards, None)
    with tempfile.TemporaryDirectory() as folder:
        try:
            return walk(cut_set, plan, boards, facts, Path(folder), say, None, choice, whole=True)
        except Stopped as stopped:
            return stopped.cut_set
