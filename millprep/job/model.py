"""The job file as a whole."""

from __future__ import annotations

from millprep.job.bed import BlankTable, LayoutTable, MachineTable, SetupTable
from millprep.job.board import BoardTable
from millprep.job.clearing import ClearingTable
from millprep.job.fields import NAME_ALLOWED, Name, Table, entry
from millprep.job.rules import RulesTable
from millprep.job.tools import AnyCutter, CutterName
from millprep.job.work import DrillingTable, IsolationTable, ProfileTable, RegistrationTable


class JobFile(Table):
    """A job: from drawings of single-sided boards to cut files."""

    name: Name = entry("What the reports call the job", NAME_ALLOWED)
    machine: MachineTable = entry("The mill", "a table headed [machine]")
    blank: list[BlankTable] = entry(
        "The laminate", "a table headed [blank], or several headed [[blank]]", min_length=1
    )
    setup: SetupTable = entry("How the blank lies and what holds it", "a table headed [setup]")
    board: list[BoardTable] = entry(
        "The boards, one [[board]] each", "tables headed [[board]]", min_length=1
    )
    layout: LayoutTable = entry(
        "Where boards lie, when that is stored",
        "a table headed [layout]",
        default=LayoutTable(),
        words="places are found",
    )
    cutters: dict[CutterName, AnyCutter] = entry(
        "The cutters, one [cutters.NAME] each", "tables headed [cutters.NAME]", min_length=1
    )
    isolation: IsolationTable = entry(
        "How copper pieces are set apart", "a table headed [isolation]"
    )
    clearing: ClearingTable | None = entry(
        "How copper that belongs to no piece is taken away",
        "a table headed [clearing]",
        default=None,
        words="none is",
    )
    drilling: DrillingTable = entry("How holes are made", "a table headed [drilling]")
    profile: ProfileTable = entry("How boards are cut out", "a table headed [profile]")
    registration: RegistrationTable = entry(
        "How a blank is found again after it was moved",
        "a table headed [registration]",
        default=RegistrationTable(),
        words="the defaults of its keys",
    )
    rules: RulesTable = entry(
        "What spacing, current and holes are held against",
        "a table headed [rules]",
        default=RulesTable(),
        words="the defaults of its keys",
    )
