"""DXF drawings: reading a board from one (`read`), surveying what one holds (`survey.survey_file`).

The DXF library is loaded only when a drawing is opened.
"""

from __future__ import annotations

from pathlib import Path

from millprep.model.board import Board
from millprep.model.job.layers import LayerRoles, Unit

__all__ = ["read"]


def read(
    file: Path,
    *,
    name: str,
    shown_as: str,
    layers: LayerRoles,
    unit: Unit | None,
    outline_file: Path | None = None,
    holes_file: Path | None = None,
    repair: bool = False,
    accepted: tuple[str, ...] = (),
) -> Board:
    """Read the board that a DXF file draws.

    The board is in drawing coordinates times the unit, in mm, y up, not mirrored.

    Args:
        file: the DXF file.
        name: the job's name for the board, for the findings.
        shown_as: the file as the job writes it, for the findings.
        layers: which layers hold copper, outline and holes.
        unit: of the drawing; None takes what the file says.
        outline_file: the DXF file that holds the outline, where the first does not.
        holes_file: the DXF file that holds the holes, where the first does not.
        repair: mend files that do not open as they are; every change is in the board's
            `repairs`, and one that touches what is read must be accepted.
        accepted: names of the changes that are accepted.

    Raises:
        Refusal: exit code 3, with everything found wrong with the drawing.
    """
    from millprep.drawing.reading import read_board

    board, _ = read_board(
        file,
        name=name,
        shown_as=shown_as,
        layers=layers,
        job_unit=unit,
        outline_file=outline_file,
        holes_file=holes_file,
        repair=repair,
        accepted=accepted,
    )
    return board
