"""What a person does to engrave a legend, and its picture."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import shapely

from millprep.at_machine.legend_lines import Lines
from millprep.at_machine.legend_pins import Turning
from millprep.geometry.pose import Pose
from millprep.model.blank import Blank, Placement
from millprep.model.job.job import JobPlan
from millprep.report.drawing_pictures import LayerPicture, draw_drawing


def steps_words(
    turned: Turning, plan: JobPlan, blank: Blank, files: Sequence[str]
) -> tuple[str, ...]:
    """What a person does, in order."""

    def of(stage: str) -> str:
        return ", ".join(file for file in files if file.startswith(stage))

    first, second = turned.holes
    places = " and ".join(f"X{x:g} Y{y:g}" for x, y in (first.machine, second.machine))
    words = turned.words[0].upper() + turned.words[1:]
    return (
        "Lay the blank copper side up where pass 1 has it, and hold it as for pass 1. "
        f"Set Z zero on the copper. Run {of('1-')}. It makes two holes at {places}.",
        f"Take the blank and its clamps off. Set Z zero on the spoilboard. Run {of('2-')}. Press "
        f"two pins of {plan.registration.pin_diameter:g} mm in; their tops must end below the "
        f"blank's top, {blank.thickness:g} mm above the spoilboard.",
        f"{words}. Component side up, copper down, press it onto the pins and hold it as before.",
        f"Set Z zero anew, on the laminate: there is no copper on this side. Run {of('3-')}. It "
        f"engraves {plan.legend.depth:g} mm deep.",
        "Turn the blank back the same way, copper side up, onto the same pins, and hold it as "
        "before. Set Z zero on the copper. Now run the set from its first program.",
    )


def draw(
    folder: Path,
    job: str,
    blank: Blank,
    placements: Sequence[Placement],
    turned: Turning,
    lines: Lines,
) -> None:
    """Write `legend.png`: the component side, as it lies on the machine once it is turned over."""
    width, height = blank.size
    over = Pose.mirror_y(height) if turned.along == 0 else Pose(a=-1.0, c=width)
    rings = [shapely.box(0, 0, width, height).exterior]
    areas: list[shapely.Polygon] = []
    for placement in placements:
        outline = placement.pose.shape(placement.board.outline)
        rings += [outline.exterior, *outline.interiors]
        areas += [
            shapely.buffer(placement.pose.shape(hole.spine), hole.diameter / 2)
            for hole in placement.board.holes
        ]
    areas += [hole.spine.buffer(hole.diameter / 2) for hole in turned.holes]
    shown = [np.asarray(shapely.get_coordinates(ring)) for ring in rings]
    shown += [path.xy for path in lines.kept]
    draw_drawing(
        [
            LayerPicture(
                stem="legend",
                title=f"{job}: legend of blank {blank.number}",
                words="the component side, as the blank lies once it is turned over",
                lines=tuple(over.points(xy) for xy in shown),
                areas=tuple(over.shape(area) for area in areas),
                box=(0.0, 0.0, width, height),
                below=(f"{lines.length - lines.away:.0f} mm are engraved",),
                unit="mm",
                keys=("engraved, and edges", "hole, or pin"),
            )
        ],
        folder,
    )
