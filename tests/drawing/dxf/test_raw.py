"""The scan of bare tags: what is there, whatever is broken around it."""

from __future__ import annotations

from pathlib import Path

import pytest
from ezdxf.audit import AuditError, Auditor

from millprep.drawing.dxf import opening_losses, raw, tags
from tests.helpers.sheet import FOIL, Sheet

LINE = b"0\nLINE\n5\n2F\n8\nfoil\n10\n0\n20\n0\n11\n1\n21\n1\n"
CIRCLE = b"0\nCIRCLE\n8\nrim\n10\n5\n20\n5\n40\n1\n"
END = b"0\nENDSEC\n0\nEOF\n"
PLAIN = b"0\nSECTION\n2\nENTITIES\n" + LINE + CIRCLE + END


def kinds(content: bytes) -> list[tuple[str, str, str]]:
    return [(one.kind, one.place, one.damage) for one in raw.read(content).entities]


SOUND = [("LINE", "model space", ""), ("CIRCLE", "model space", "")]


@pytest.mark.parametrize("end", [b"\n", b"\r\n", b"\r"])
def test_line_ends(end: bytes) -> None:
    assert kinds(PLAIN.replace(b"\n", end)) == SOUND


def test_what_stands_behind_the_end_mark_does_not_count() -> None:
    assert kinds(PLAIN + b"trash\nLINE\n0\n") == SOUND


@pytest.mark.parametrize(
    ("old", "new", "damage"),
    [
        (b"40\n1\n", b"", ["", "incomplete"]),
        (b"40\n1\n", b"40\n1,0\n", ["", "broken-number"]),
        (b"40\n1\n", b"4O\n1\n", ["", "broken-code"]),
        (b"20\n0\n11\n1\n", b"11\n1\n20\n0\n", ["scattered", ""]),
        (b"20\n5\n40\n1\n", b"40\n1\n20\n5\n", ["", "broken-point"]),
        (b"8\nfoil\n", b"foil\n", ["broken-code", ""]),
        (END, b"", ["", "incomplete"]),
    ],
)
def test_damage_is_seen_in_its_entity_and_nowhere_else(
    old: bytes, new: bytes, damage: list[str]
) -> None:
    assert PLAIN.count(old) == 1
    found = raw.read(PLAIN.replace(old, new))
    assert [one.damage for one in found.entities] == damage


def test_binary_files_show_the_same_entities(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    sheet.pad(10, 10)
    sheet.space.add_lwpolyline([(5, 5), (9, 5)], dxfattribs={**FOIL, "const_width": 1})
    seen = []
    for form in ("asc", "bin"):
        sheet.doc.saveas(sheet.file, fmt=form)
        found = raw.read(sheet.file.read_bytes())
        seen.append([(e.kind, e.handle, e.layer, e.place, e.damage) for e in found.entities])
        assert not found.loose
    assert seen[0] == seen[1]
    assert len(seen[0]) == 4


def test_a_polyline_without_its_end_mark_is_incomplete() -> None:
    vertex = b"0\nVERTEX\n8\nfoil\n10\n1\n20\n1\n"
    body = b"0\nPOLYLINE\n8\nfoil\n66\n1\n" + 2 * vertex
    ended = raw.read(PLAIN.replace(LINE, body + b"0\nSEQEND\n" + LINE)).entities
    cut = raw.read(PLAIN.replace(LINE, body + LINE)).entities
    assert ended[0].parts == 2
    assert [e.damage for e in ended] == ["", "", ""]
    assert [e.damage for e in cut] == ["incomplete", "", ""]


@pytest.mark.parametrize(("stated", "lacking"), [(2, False), (1, False), (3, True)])
def test_fewer_vertices_than_stated(stated: int, lacking: bool) -> None:
    # programs that state one vertex less than they write are about: no fault
    codes = [90, 10, 20, 10, 20]
    values = [b"%d" % stated, b"0", b"0", b"1", b"1"]
    assert bool(tags.lacks(b"LWPOLYLINE", codes, values)) is lacking


def test_ways_through_blocks() -> None:
    held = {"model space": {"block a"}, "block a": {"block b", "block c"}, "block b": {"block c"}}
    found = raw.Raw((), (), {name: frozenset(inner) for name, inner in held.items()})
    # from b: itself and c; from a: itself, b's two, c; from the model space: itself, a's four
    assert raw.ways(found) == 2 + 4 + 5


def test_a_file_cut_off_gets_its_end() -> None:
    cut = PLAIN[: PLAIN.index(END)] + b"0"
    mended = tags.closed(cut, within=True)
    assert kinds(mended) == SOUND
    assert tags.scan(mended).ended
    assert not tags.scan(cut).ended


def test_vertices_that_the_library_loses_are_missed(tmp_path: Path) -> None:
    sheet = Sheet(tmp_path)
    track = sheet.space.add_polyline2d([(5, 5), (9, 5), (9, 9)], dxfattribs=FOIL)
    sheet.doc.saveas(sheet.file)
    tagged = raw.read(sheet.file.read_bytes())
    assert opening_losses.lost(tagged, sheet.doc) == []
    del track.vertices[1]
    (change,) = opening_losses.lost(tagged, sheet.doc)
    assert change.words == "missing POLYLINE part on layer 'foil': 1"
    assert (change.layer, change.shapes) == ("foil", True)


def test_what_the_library_mends_is_named_with_its_layer_where_it_may_hold_shapes(
    tmp_path: Path,
) -> None:
    sheet = Sheet(tmp_path)
    sheet.doc.saveas(sheet.file)
    tagged = raw.read(sheet.file.read_bytes())
    auditor = Auditor(sheet.doc)
    code = AuditError.UNDEFINED_LINETYPE
    entities = [sheet.doc.layers.get("foil"), sheet.doc.linetypes.get("ByLayer"),
                sheet.doc.rootdict, sheet.space.query("CIRCLE")[0]]  # fmt: skip
    for entity in entities:
        auditor.fixed_error(code, "no such line type", dxf_entity=entity)
    layer, line_type, table, circle = opening_losses.audited(auditor, tagged, sheet.doc)
    assert layer.name == f"undefined-linetype {entities[0].dxf.handle}"
    assert layer.words == "no such line type (mended)"
    assert [(c.layer, c.shapes) for c in (layer, line_type, table, circle)] == [
        ("foil", True), (None, False), (None, False), ("bores", True),
    ]  # fmt: skip
