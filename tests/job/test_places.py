from __future__ import annotations

import tomllib
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from millprep.job.places import TextPlace, key_places
from millprep.model.job.mistakes import KeyPath
from tests.helpers.chance import examples

SCALARS = [
    "1", "-0.5", "1e3", "nan", "true", '"plain"', "'literal # no comment'", '"a \\" ] } # b"',
    "1979-05-27 07:32:00", '"""one\n[two]\n= three"""', '""""quoted""""', '"""end\\""""',
    "'''\n[[x]]\nk = 'v' '''", '""', "''", '""""""',
]  # fmt: skip
KEYS = [("a", "a"), ("b-1", "b-1"), ("7", "7"), ('"s p"', "s p"), ("'d.t'", "d.t")]
KEYS += [('"\\u00e9\\""', 'é"'), ('"# no"', "# no"), ("é".join(['"', '"']), "é")]
BREAKS = ["", " ", "\n", "\n  ", " # note ]}\n", "\n# '''\n\n\t"]


class Writer:
    """Writes TOML and notes where each key goes, counting on its own."""

    def __init__(self, data: st.DataObject) -> None:
        self.data = data
        self.text = ""
        self.places: dict[KeyPath, TextPlace] = {}

    def pick(self, options: list[Any]) -> Any:
        return self.data.draw(st.sampled_from(options))

    def upto(self, most: int) -> int:
        return self.data.draw(st.integers(0, most))

    def note(self, path: KeyPath) -> None:
        before = self.text.split("\n")
        self.places[path] = TextPlace(len(before), len(before[-1]) + 1)

    def keys(self) -> list[tuple[str, str]]:
        return self.data.draw(st.lists(st.sampled_from(KEYS), unique=True, max_size=3))

    def pairs(self, path: KeyPath, end: str, depth: int) -> None:
        for n, (spelt, key) in enumerate(self.keys()):
            self.text += ", " if n and end == "" else ""
            self.text += self.pick(["", " ", "\t"])
            self.note((*path, key))
            self.text += spelt
            here: KeyPath = (*path, key)
            if self.pick([False, False, True]):
                self.text += self.pick([".", " . "])
                self.note((*here, "sub"))
                self.text += "sub"
                here = (*here, "sub")
            self.text += self.pick(["=", " = "])
            self.value(here, depth)
            self.text += end and self.pick(["\n", " # [note]\n", "\n\n"])

    def value(self, path: KeyPath, depth: int) -> None:
        kind = self.upto(3) if depth else 0
        if kind < 2:
            self.text += self.pick(SCALARS)
        elif kind == 2:
            self.text += "["
            for n in range(self.upto(3)):
                self.text += ("," if n else "") + self.pick(BREAKS)
                self.note((*path, n))
                self.value((*path, n), depth - 1)
                self.text += self.pick(BREAKS)
            self.text += "]"
        else:
            self.text += "{ "
            self.pairs(path, "", depth - 1)
            self.text += " }"

    def header(self, spelt: str, path: KeyPath, brackets: int) -> None:
        self.text += "[" * brackets + self.pick(["", " "])
        self.note(path)
        self.text += spelt + self.pick(["", " "]) + "]" * brackets + self.pick(["\n", " # x\n"])
        self.pairs(path, "\n", 2)

    def file(self) -> None:
        self.text = self.pick(["", "\n", "# head\n"])
        self.pairs((), "\n", 3)
        for n in range(self.upto(2)):
            self.header(f"t{n}", (f"t{n}",), 1)
            if self.upto(1):
                self.text += f"[t{n}"
                self.text += "."
                self.note((f"t{n}", "below"))
                self.text += "below]\n"
                self.pairs((f"t{n}", "below"), "\n", 1)
        for n in range(self.upto(3)):
            self.header("list", ("list", n), 2)
            self.places.setdefault(("list",), self.places["list", n])
            for m in range(self.upto(2)):
                self.text += "[[list . "
                self.note(("list", n, "in", m))
                self.places.setdefault(("list", n, "in"), self.places["list", n, "in", m])
                self.text += "in]]\n"
                self.pairs(("list", n, "in", m), "\n", 1)


def paths_of(value: Any, path: KeyPath = ()) -> set[KeyPath]:
    if isinstance(value, dict):
        items = list(value.items())
    elif isinstance(value, list):
        items = list(enumerate(value))
    else:
        return set()
    return {(*path, key) for key, _ in items}.union(
        *(paths_of(inner, (*path, key)) for key, inner in items)
    )


@examples(150)
@given(st.data())
def test_every_key_is_found_where_it_was_written(data: st.DataObject) -> None:
    writer = Writer(data)
    writer.file()
    values = tomllib.loads(writer.text)
    found = key_places(writer.text)
    assert found == writer.places
    assert set(found) == paths_of(values)


def test_a_header_of_its_own_counts_more_than_an_earlier_mention() -> None:
    places = key_places("[a.b]\nx = 1\n\n  [a]\ny = 2\n")
    assert places["a",] == TextPlace(4, 4)
    assert places["a", "b"] == TextPlace(1, 4)
    assert places["a", "b", "x"] == TextPlace(2, 1)


def test_a_table_without_a_header_stands_at_its_first_mention() -> None:
    places = key_places('k = 1\n[[b]]\nlayers.copper = ["A",\n  "B"]\nlayers.holes = []')
    assert places["b", 0, "layers"] == TextPlace(3, 1)
    assert places["b", 0, "layers", "holes"] == TextPlace(5, 8)
    assert places["b", 0, "layers", "copper", 1] == TextPlace(4, 3)
