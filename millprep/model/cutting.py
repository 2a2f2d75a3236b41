"""How a program's cutter cuts: speed of its edge, chips, depth in one go."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Cutting:
    """The figures of one program.

    Attributes:
        file: of the program.
        cutter: name of the cutter.
        width: of what it cuts, a diameter or a vee's groove at the surface, mm.
        surface_speed: of the edge at that width, m/min.
        chip_load: what a tooth takes along a path, mm; None for a drill.
        plunge_load: what a tooth takes straight down, of a drill a turn, mm; None where the
            cutter goes down on ramps alone.
        bounds: least and most that a tooth should take, of a drill a turn, mm.
        step: deepest that it goes in one go, mm.
        steps: in how many the deepest hole is drilled; None for what is no drill.
    """

    file: str
    cutter: str
    width: float
    surface_speed: float
    chip_load: float | None
    plunge_load: float | None
    bounds: tuple[float, float]
    step: float
    steps: int | None = None

    def __post_init__(self) -> None:
        if not (self.width > 0 and self.surface_speed > 0 and self.step >= 0):
            raise ValueError(f"{self.file}: width and speed must be above 0, step 0 or more")
        if not 0 < self.bounds[0] < self.bounds[1]:
            raise ValueError(f"{self.file}: bounds must be above 0 and in order")

    @property
    def load(self) -> float | None:
        """What a tooth takes where it does its work: along a path, of a drill straight down."""
        return self.plunge_load if self.chip_load is None else self.chip_load
