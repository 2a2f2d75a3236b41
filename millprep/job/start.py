"""What is known of a board before its job is written."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from millprep.geometry.path import Point
from millprep.model.job.layers import DrawnFrom, LayerRoles, Unit


@dataclass(frozen=True, slots=True, kw_only=True)
class Start:
    """All that is known of a board before its job is written; lengths in mm.

    Attributes:
        drawing: its path, seen from the folder the job will lie in; so are the others.
        roles: layers by role, modes, margin, box and gaps to close; roles that are not settled
            have no layers.
        drawn_from, unit: None where unknown; `unit_stated` when the drawing gives it.
        unit_words: what each unit would make of it, a line each.
        needs_mode: copper layers whose mode is open, each with its readings in words.
        needs_width: copper layers whose track width is open.
        choices: for roles that are not settled, what could play them, in words.
        gaps: words on the gaps in the outline that the job could close, and by how much.
        repairs: what mending the damaged drawing changes, each with its name in quotes.
        size: of the board, (x, y).
        narrowest: gap between pieces, None when not known.
        diameters, slots: of the holes, and widths of slots.
        assumed: the unit that sizes take, where it is not known.
    """

    drawing: str
    roles: LayerRoles
    size: Point
    drawn_from: DrawnFrom | None = None
    unit: Unit | None = None
    unit_stated: bool = True
    unit_words: Sequence[str] = ()
    outline_drawing: str | None = None
    holes_drawing: str | None = None
    needs_mode: Mapping[str, Sequence[str]] | None = None
    needs_width: Sequence[str] = ()
    choices: Mapping[str, Sequence[str]] | None = None
    gaps: Sequence[str] = ()
    repairs: Sequence[str] = ()
    narrowest: float | None = None
    diameters: Sequence[float] = ()
    slots: Sequence[float] = ()
    assumed: Unit | None = None

    @property
    def open(self) -> tuple[str, ...]:
        """Names of what is left to fill in."""
        out = [] if self.drawn_from else ["drawn_from"]
        if not self.unit and not self.unit_stated:
            out.append("unit")
        roles = self.roles
        if not roles.copper:
            out.append("layers.copper")
        if not (roles.outline or roles.outline_box) and roles.outline_margin is None:
            out.append("layers.outline" if self.outline_drawing else "the outline")
        if not roles.holes and (self.holes_drawing or (self.choices or {}).get("holes")):
            out.append("layers.holes")
        out += ["layers.modes"] if self.needs_mode else []
        out += ["layers.widths"] if self.needs_width else []
        out += ["close_gaps"] if self.gaps else []
        return tuple(out)
