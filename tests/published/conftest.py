"""What several tests of real drawings need."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import ezdxf.filemanagement
import pytest


@pytest.fixture(scope="module")
def pad(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A drawing of one pad, for drawings that hold only an outline or holes."""
    doc: Any = ezdxf.filemanagement.new()
    doc.header["$INSUNITS"] = 4
    doc.modelspace().add_circle((0, 0), 1, dxfattribs={"layer": "foil"})
    file = tmp_path_factory.mktemp("pad") / "pad.dxf"
    doc.saveas(file)
    return file
