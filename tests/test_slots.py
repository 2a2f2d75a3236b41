"""Slots end to end: drawn, milled, read back, and there as drawn."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
import shapely

from millprep.model.finding import Refusal
from millprep.workflow.prepare import prepare
from tests.helpers import small_job

JOB = small_job.changed(
    'cutters = ["drill"]\nspoilboard',
    'cutters = ["drill"]\nborer = "fine"\nspoilboard',
    small_job.changed("[cutters.mill]", '[cutters.fine]\npreset = "endmill-1"\n\n[cutters.mill]'),
)


def slotted(space: Any) -> None:
    """The small board with two slots in pads of their own: one as wide as the cutter."""
    small_job.edge(space)
    small_job.copper(space)
    wells = {"layer": "wells"}
    small_job.track(space, [(5.0, 14.0), (9.0, 16.0)], width=2.6)
    space.add_lwpolyline([(5.0, 14.0), (9.0, 16.0)], dxfattribs={**wells, "const_width": 1.0})
    small_job.track(space, [(24.0, 12.5), (24.0, 16.0)], width=5.0)
    space.add_line((22.6, 12.5), (22.6, 16.0), dxfattribs=wells)
    space.add_line((25.4, 12.5), (25.4, 16.0), dxfattribs=wells)
    space.add_arc((24.0, 16.0), 1.4, 0, 180, dxfattribs=wells)
    space.add_arc((24.0, 12.5), 1.4, 180, 360, dxfattribs=wells)


@pytest.mark.parametrize("face", ["copper", "components"])
def test_slots_come_out_as_drawn(tmp_path: Path, face: str) -> None:
    text = small_job.changed('drawn_from = "copper"', f'drawn_from = "{face}"', JOB)
    done = prepare(small_job.put(tmp_path, text, slotted), tmp_path / "set")
    assert [f for f in done.findings if f.severity != "note"] == []
    (proof,) = done.proofs
    assert (proof.shorts, proof.opens, proof.pieces) == (0, 0, 4)
    (placement,) = done.layout.placements
    slots = [hole.transformed(placement.pose) for hole in placement.board.holes if hole.end]
    assert sorted(slot.diameter for slot in slots) == pytest.approx([1.0, 2.8])
    assert all(slot.piece for slot in slots)
    (as_cut,) = [b.as_cut for b in done.blanks if b.as_cut]
    (groove,) = [groove for groove in as_cut.grooves if groove.cutter == "fine"]
    cut = shapely.get_parts(groove.surface).tolist()
    assert len(cut) == 2
    for slot in slots:
        drawn = slot.spine.buffer(slot.diameter / 2, quad_segs=128)
        (own,) = [area for area in cut if area.intersects(slot.spine)]
        assert not own.interiors, "a core would come loose"
        assert shapely.hausdorff_distance(own.exterior, drawn.exterior, 0.05) <= 0.015
    for slot, made in zip(slots, [h for h in done.blanks[0].cuts.holes if h.end], strict=True):
        assert (made.at, made.end, made.work) == (slot.at, slot.end, "bore")
    assert "-bore-1.0.ngc" in "".join(program.file for program in done.programs)


def test_a_slot_that_no_mill_fits_is_refused_with_its_place(tmp_path: Path) -> None:
    with pytest.raises(Refusal) as refused:
        prepare(small_job.put(tmp_path, what=slotted), tmp_path / "set")
    found = [f for f in refused.value.findings if f.code == "slot-without-mill"]
    assert [f.at for f in found] == [(5.0, 14.0), (24.0, 12.5)]
    assert "Name an end mill no wider than the slot" in found[0].message
