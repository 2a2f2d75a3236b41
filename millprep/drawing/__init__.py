"""Drawings: reading a board from one (`read`), surveying what one holds (`survey.survey_file`).

DXF, Gerber and drill files are read.

The DXF library is loaded only when a drawing is opened.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from millprep.model.board import Board
from millprep.model.job.layers import LayerRoles, Unit

if TYPE_CHECKING:
    from millprep.drawing.gather import Walked

__all__ = ["read"]


def read(
    file: Path,
    *,
    name: str,
    shown_as: str,
    layers: LayerRoles,
    unit: Unit | None,
    outline_file: Path | None = None,
    holes_files: tuple[Path, ...] | None = None,
    repair: bool = False,
    accepted: tuple[str, ...] = (),
    walked: Walked | None = None,
) -> Board:
    """Read the board that a file draws, or several files together.

    The board is in drawing coordinates times the unit, in mm, y up, not mirrored.

    Args:
        file: that draws the copper; what kind of file it is, its content decides.
        name: the job's name for the board, for the findings.
        shown_as: the file as the job writes it, for the findings.
        layers: which layers of DXF files hold copper, outline and holes; a Gerber or drill file is
            one layer.
        unit: of the drawing; None takes what the file says.
        outline_file: the file that draws the outline, where the first does not.
        holes_files: those that draw the holes, () for none, None where the first does.
        repair: mend files that do not open as they are; every change is in the board's
            `repairs`, and one that touches what is read must be accepted.
        accepted: names of the changes that are accepted.
        walked: the first file, where a survey has opened it already and nothing is mended.

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
        holes_files=holes_files,
        repair=repair,
        accepted=accepted,
        walked=walked,
    )
    return board
