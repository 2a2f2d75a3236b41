"""Draws small DXF files for the tests and reads boards from them."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import ezdxf.filemanagement
import pytest

from millprep.drawing import read
from millprep.model.board import Board
from millprep.model.finding import Finding, Refusal
from millprep.model.job.layers import LayerRoles, Unit

ROLES = LayerRoles(copper=("foil",), outline=("rim",), holes=("bores",))
FOIL = {"layer": "foil"}
RIM = {"layer": "rim"}
BORES = {"layer": "bores"}


class Sheet:
    """A drawing in the making, with a rim of 50 × 30 and one bore unless told otherwise."""

    def __init__(
        self, folder: Path, *, version: str = "R2010", insunits: int | None = 4, rim: bool = True
    ) -> None:
        self.file = folder / "sheet.dxf"
        self.doc: Any = ezdxf.filemanagement.new(version)
        if insunits is None:
            del self.doc.header["$INSUNITS"]
        else:
            self.doc.header["$INSUNITS"] = insunits
        for layer in ("foil", "rim", "bores"):
            self.doc.layers.add(layer)
        self.space: Any = self.doc.modelspace()
        if rim:
            self.box(0, 0, 50, 30)
        self.space.add_circle((45, 25), 0.5, dxfattribs=BORES)

    def box(self, x0: float, y0: float, x1: float, y1: float, layer: str = "rim") -> None:
        """A closed rectangle of no width."""
        corners = [(x0, y0), (x1, y0), (x1, y1), (x0, y1)]
        self.space.add_lwpolyline(corners, close=True, dxfattribs={"layer": layer})

    def pad(self, x: float, y: float, r: float = 1.0) -> None:
        """A filled pad."""
        self.space.add_circle((x, y), r, dxfattribs=FOIL)

    def read(self, roles: LayerRoles = ROLES, unit: Unit | None = None) -> Board:
        """Write the file and read the board."""
        self.doc.saveas(self.file)
        return read(self.file, name="lamp", shown_as="sheet.dxf", layers=roles, unit=unit)

    def refusal(self, roles: LayerRoles = ROLES, unit: Unit | None = None) -> tuple[Finding, ...]:
        """Write the file, expect it to be refused, and give the findings."""
        with pytest.raises(Refusal) as caught:
            self.read(roles, unit)
        assert caught.value.exit_code == 3
        for finding in caught.value.findings:
            assert finding.severity == "stop"
            assert finding.file == "sheet.dxf"
            assert finding.board == "lamp"
        return caught.value.findings


def codes(findings: tuple[Finding, ...]) -> list[str]:
    return [finding.code for finding in findings]
