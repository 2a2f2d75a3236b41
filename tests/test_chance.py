"""The same examples every time, and ten times as many where chance is asked for."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from hypothesis import given, seed, settings
from hypothesis import strategies as st

from tests.helpers.chance import examples


@contextmanager
def profile(name: str) -> Iterator[None]:
    before = settings.get_current_profile_name()
    settings.load_profile(name)
    try:
        yield
    finally:
        settings.load_profile(before)


def drawn(name: str) -> list[str]:
    """What a property is tried on."""
    found: list[str] = []
    with profile(name):

        @examples(60)
        @seed(1)
        @given(st.floats())
        def collect(number: float) -> None:
            found.append(str(number))

        collect()
    return found


@pytest.mark.parametrize(("name", "times"), [("same", 1), ("long", 10)])
def test_every_property_is_tried_so_many_times(name: str, times: int) -> None:
    with profile(name):
        assert examples(30).max_examples == 30 * times
        assert settings().max_examples == 100 * times
        assert examples(30).derandomize == (name == "same")
        assert examples(30).deadline is None


def test_every_law_has_ten_thousand_examples() -> None:
    with profile("laws"):
        assert examples(30).max_examples == settings().max_examples == 10_000


def test_laws_are_properties_and_there_are_thirty() -> None:
    laws = []
    for file in Path(__file__).parent.rglob("test_*.py"):
        marked = file.read_text("utf-8").split("\n@pytest.mark.law\n")[1:]
        laws += [text.partition("\ndef ")[0] for text in marked]
    assert len(laws) >= 30
    assert [text for text in laws if "@given" not in text] == []


@pytest.mark.parametrize("name", ["same", "long"])
def test_what_is_loaded_changes_examples_by_chance_alone(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = drawn(name)
    numbers = [f"{k}.{len(name)}0625" for k in range(1000, 1200)]
    (tmp_path / f"odd_{name}.py").write_text(f"NUMBERS = [{', '.join(numbers)}]\n", "utf-8")
    monkeypatch.syspath_prepend(tmp_path)
    __import__(f"odd_{name}")
    try:
        after = drawn(name)
    finally:
        del sys.modules[f"odd_{name}"]
    assert bool(set(after) & set(numbers)) == (name == "long")
    assert (before == after) == (name == "same")
