from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from millprep.model.milling_pass import Vernier
from millprep.report.sheet import sheet
from tests.helpers import chromium
from tests.helpers.changed_set import with_blank
from tests.helpers.chromium import Opened, open_sheet
from tests.helpers.invented_set import invented
from tests.helpers.trails import with_trails

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="session")
def started() -> Iterator[Browser]:
    if chromium.executable() is None:
        pytest.skip("no chromium on PATH; .ci/run installs it")
    with chromium.browser() as found:
        yield found


@pytest.fixture(scope="session")
def two_passes(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sheet of an invented set with joins, findings and a vernier."""
    first, second = (whole := with_trails(invented(4))).passes
    comb = Vernier("v1", 1, (250.0, 105.0), "x", (1, 2), 1.0, 0.02, 10)
    whole = with_blank(whole, passes=(first, replace(second, verniers=(comb,))))
    file = tmp_path_factory.mktemp("sheet") / "sheet.html"
    file.write_text(sheet(whole), "utf-8")
    return file


@pytest.fixture
def opened(started: Browser, two_passes: Path) -> Iterator[Opened]:
    one = open_sheet(started, two_passes)
    yield one
    one.page.context.close()
    assert one.said == []
    assert one.asked == []


@pytest.fixture
def memory(started: Browser, memory_board: Path) -> Iterator[Opened]:
    """The sheet of the half-metre example, as `prepare` wrote it."""
    one = open_sheet(started, memory_board / "sheet.html")
    yield one
    one.page.context.close()
    assert one.said == []
    assert one.asked == []
