"""The job file as a whole, and its boards."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from millprep.job.bed import BlankTable, MachineTable, SetupTable
from millprep.job.fields import NAME_ALLOWED, Name, Pair, Table, Words, choice, entry, number
from millprep.job.tools import AnyCutter, CutterName
from millprep.job.work import DrillingTable, IsolationTable, ProfileTable, RegistrationTable
from millprep.values.plan import DrawnFrom, Unit

LAYERS_ALLOWED = 'a list of layer names, such as ["TRACKS"]'


class LayersTable(Table):
    """Which layers of the drawing play which role; a layer may play several."""

    copper: Annotated[list[Words], Field(min_length=1)] = entry(
        "Layers that hold copper", LAYERS_ALLOWED + ", one at least"
    )
    outline: Annotated[list[Words], Field(min_length=1)] = entry(
        "Layers that hold the board's outline and cut-outs", LAYERS_ALLOWED + ", one at least"
    )
    holes: list[Words] = entry("Layers that hold the holes; [] for none", LAYERS_ALLOWED)


class BoardTable(Table):
    """One circuit board."""

    name: Name = entry("What the reports call the board", NAME_ALLOWED)
    drawing: Words = entry(
        "The DXF file, seen from the job file's folder", "the path of a DXF file"
    )
    count: int = number("Copies to make", "", default=1, least=1, most=1000, whole=True)
    drawn_from: DrawnFrom = choice(
        "The side the drawing is seen from: the component side (the copper is then mirrored) or "
        "the copper side",
        DrawnFrom,
    )
    unit: Unit | None = choice(
        "Unit of the drawing, for files that state none or state a wrong one",
        Unit,
        default=None,
        words="what the drawing states",
    )
    layers: LayersTable = entry("Layers by role", "a table of layer names by role")
    links: list[Annotated[list[Pair], Field(min_length=2, max_length=2)]] = entry(
        "Wires soldered by hand between two points of the copper, drawing coordinates in mm",
        "a list of point pairs in mm, [[[x, y], [x, y]], …]",
        unit="mm",
        default=[],
        words="none",
    )


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
    cutters: dict[CutterName, AnyCutter] = entry(
        "The cutters, one [cutters.NAME] each", "tables headed [cutters.NAME]", min_length=1
    )
    isolation: IsolationTable = entry(
        "How copper pieces are set apart", "a table headed [isolation]"
    )
    drilling: DrillingTable = entry("How holes are made", "a table headed [drilling]")
    profile: ProfileTable = entry("How boards are cut out", "a table headed [profile]")
    registration: RegistrationTable = entry(
        "How a blank is found again after it was moved",
        "a table headed [registration]",
        default=RegistrationTable(),
        words="the defaults of its keys",
    )
