"""What a DXF file holds by its bare tags: every entity with its place and its damage."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

from millprep.drawing.dxf.tags import Tags, broken_numbers, lacks, scan, scattered

SECTIONS = frozenset(
    {b"HEADER", b"CLASSES", b"TABLES", b"BLOCKS", b"ENTITIES", b"OBJECTS"}
    | {b"THUMBNAILIMAGE", b"ACDSDATA"}
)
PARENT = {b"VERTEX": b"POLYLINE", b"ATTRIB": b"INSERT"}

Place = str
MODEL, PAPER, NOWHERE = "model space", "paper space", "nowhere"


@dataclass(frozen=True, slots=True)
class RawEntity:
    """One entity, as the bare tags show.

    Attributes:
        layer: as written, not decoded.
        place: model space, paper space, "block NAME" or nowhere, outside all sections.
        number: its number among the entities of its place, without vertices and attributes.
        line: the line of its first tag, the byte in a binary file.
        parts: its vertices or attributes.
        damage: kind of damage, "" for none: "incomplete", "broken-code", "broken-point",
            "broken-number", or "scattered" for coordinates out of their order.
        words: what the damage is.
    """

    kind: str
    handle: str
    layer: bytes
    place: Place
    number: int
    line: int
    parts: int = 0
    damage: str = ""
    words: str = ""


@dataclass(frozen=True, slots=True)
class Raw:
    """A file's entities and what is wrong outside of them.

    Attributes:
        loose: damage that belongs to no entity, as (kind, words).
        inserts: for each block the blocks that it inserts.
        cut: whether the file ends within a section.
    """

    entities: tuple[RawEntity, ...]
    loose: tuple[tuple[str, str], ...]
    inserts: dict[str, frozenset[str]]
    cut: bool = False


def read(content: bytes) -> Raw:
    """Entities of the ENTITIES and BLOCKS sections, and entities outside of all."""
    return _Walk(scan(content)).raw()


def ways(raw: Raw) -> int:
    """Number of ways from block to block through the inserts, a large number for a cycle."""
    known: dict[str, int] = {}
    # leaves first: a block is counted once all that it holds are
    waiting = [(name, False) for name in raw.inserts]
    open_now: set[str] = set()
    while waiting:
        name, again = waiting.pop()
        if again:
            known[name] = 1 + sum(known.get(inner, 1) for inner in raw.inserts[name])
            open_now.discard(name)
        elif name not in known and name in raw.inserts and name not in open_now:
            open_now.add(name)
            waiting.append((name, True))
            waiting += [(inner, False) for inner in raw.inserts[name]]
    return sum(known.values())


class _Walk:
    def __init__(self, tags: Tags) -> None:
        self.tags = tags
        self.read_entities: list[RawEntity] = []
        self.loose: list[tuple[str, str]] = []
        self.inserts: dict[str, set[str]] = {}
        self.numbers: dict[Place, int] = {}
        self.breaks: dict[int, list[str]] = {}
        self.parent: int | None = None

    def raw(self) -> Raw:
        codes, values = self.tags.codes, self.tags.values
        starts = [k for k, code in enumerate(codes) if code == 0]
        self._breaks(starts)
        section: bytes | None = None
        block: str | None = None
        names: set[bytes] = set()
        for start, end in itertools.pairwise([*starts, len(codes)]):
            kind = values[start].strip().upper()
            broken = self.breaks.get(start, [])
            if kind == b"SECTION":
                section = values[start + 1].strip() if codes[start + 1 : end][:1] == [2] else b"?"
                if section not in SECTIONS:
                    self.loose.append(("unknown-section", f"a section {_text(section)!r}"))
                elif section in names and section in (b"ENTITIES", b"BLOCKS", b"TABLES"):
                    again = f"a second section {_text(section)} is joined to the first"
                    self.loose.append(("second-section", again))
                names.add(section)
                block = None
            elif kind in (b"ENDSEC", b"EOF"):
                section = block = None
            elif section == b"BLOCKS" and kind == b"BLOCK":
                block = self._name(start, end)
            elif section == b"BLOCKS" and kind == b"ENDBLK":
                block = None
            elif kind == b"SEQEND":
                self._close(True)
            elif section in (b"ENTITIES", b"BLOCKS", None) or section not in SECTIONS:
                place = NOWHERE
                if section == b"ENTITIES":
                    place = MODEL
                elif block is not None:
                    place = f"block {block}"
                self._entity(kind, start, end, place, broken)
                continue
            else:
                self._numbers(start, end, section)
            self._close(False)
            self.loose += [("broken-code", f"no group code at {words}") for words in broken]
        self._close(False)
        if not self.tags.ended:
            self.loose.append(("missing-eof", "the file ends without its end mark"))
        frozen = {name: frozenset(held) for name, held in self.inserts.items()}
        return Raw(tuple(self.read_entities), tuple(self.loose), frozen, section is not None)

    def _breaks(self, starts: list[int]) -> None:
        """Unreadable group codes, by the entity that they are in."""
        import bisect

        for index, words in self.tags.broken:
            k = bisect.bisect_left(starts, index) - 1
            if k < 0:
                self.loose.append(("broken-code", f"no group code at {words}"))
            else:
                self.breaks.setdefault(starts[k], []).append(words)

    def _name(self, start: int, end: int) -> str:
        return _text(self._value(2, start, end)).casefold()

    def _value(self, code: int, start: int, end: int) -> bytes:
        try:
            return self.tags.values[self.tags.codes.index(code, start + 1, end)]
        except ValueError:
            return b""

    def _numbers(self, start: int, end: int, section: bytes) -> None:
        if section == b"OBJECTS":
            return
        codes, values = self.tags.codes[start + 1 : end], self.tags.values[start + 1 : end]
        for words in broken_numbers(codes, values):
            self.loose.append(("broken-number", f"{words} in section {_text(section)}"))

    def _entity(
        self, kind: bytes, start: int, end: int, place: Place, broken: Sequence[str]
    ) -> None:
        codes, values = self.tags.codes[start + 1 : end], self.tags.values[start + 1 : end]
        damage = words = ""
        missing = lacks(kind, codes, values)
        order = scattered(codes)
        if end == len(self.tags.codes) and not self.tags.ended:
            damage, words = "incomplete", "the file ends within it"
        elif broken:
            damage, words = "broken-code", f"no group code at {'; '.join(broken[:3])}"
        elif missing:
            damage, words = "incomplete", missing
        elif order:
            # of a line the library puts them together again, of others it drops them
            damage = "scattered" if kind == b"LINE" else "broken-point"
            words = order
        else:
            numbers = broken_numbers(codes, values)
            if numbers:
                damage, words = "broken-number", "; ".join(numbers[:3])
        if self.parent is not None and PARENT.get(kind) == self._parent_kind():
            head = self.read_entities[self.parent]
            self.read_entities[self.parent] = replace(
                head,
                parts=head.parts + 1,
                damage=head.damage or damage,
                words=head.words or (f"{_text(kind)}: {words}" if words else ""),
            )
            return
        self._close(False)
        layer = self._value(8, start, end) or b"0"
        if place == MODEL and self._value(67, start, end).strip() == b"1":
            place = PAPER
        number = self.numbers.get(place, 0)
        self.numbers[place] = number + 1
        if kind == b"INSERT":
            self.inserts.setdefault(place, set()).add(f"block {self._name(start, end)}")
        handle = _text(self._value(5, start, end)).strip().upper()
        line = self.tags.line(start)
        self.read_entities.append(
            RawEntity(_text(kind), handle, layer, place, number, line, 0, damage, words)
        )
        if kind == b"POLYLINE" or (kind == b"INSERT" and self._value(66, start, end).strip(b" 0")):
            self.parent = len(self.read_entities) - 1

    def _parent_kind(self) -> bytes:
        assert self.parent is not None
        return self.read_entities[self.parent].kind.encode("latin-1")

    def _close(self, properly: bool) -> None:
        """The run of vertices or attributes ends; one that never says so was cut short."""
        if self.parent is not None and not properly:
            head = self.read_entities[self.parent]
            if not head.damage:
                self.read_entities[self.parent] = replace(
                    head, damage="incomplete", words="the end mark of its parts is missing"
                )
        self.parent = None


def _text(value: bytes) -> str:
    return value.strip().decode("latin-1")
