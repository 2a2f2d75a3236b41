"""Whole runs that are killed leave the old set or the new one, and no litter for ever."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from tests.kills import Place, run_all

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="this system cannot fork")


def test_runs_killed_at_six_moments_leave_the_old_set_or_the_new_one(tmp_path: Path) -> None:
    left = run_all((k / 5 for k in range(6)), tmp_path)
    assert [wrong for _, wrong in left if wrong] == []
    assert len(left) == 6
    assert any("the old set" in name for name, _ in left)


def test_a_set_that_is_neither_is_seen(tmp_path: Path) -> None:
    place = Place(tmp_path / "set", [], [{"a": "1"}, {"a": "2"}], 0.0)
    assert place._wrong({"a": "3"}) == "neither the old nor the new set"
