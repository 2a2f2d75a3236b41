"""Table of the pins that sockets are built from."""

from __future__ import annotations

from millprep.job.fields import Table, entry, number
from millprep.model.plan import SocketPin


class PinsTable(Table):
    """Sockets built from single pins: the holes of valve bases are held against the pin."""

    preset: str | None = entry(
        "A pin to start from; keys written here override it",
        "the name of a pin preset",
        default=None,
        words="none",
    )
    thinnest: float = number("Diameter of the thinnest tail", "mm", above=0, most=20)
    thickest: float = number("Diameter of the thickest tail", "mm", above=0, most=20)
    hole: float = number("Hole that the tail is soldered into", "mm", above=0, most=20)
    land: float = number("Land around that hole, at least", "mm", above=0, most=50)
    takes: float = number(
        "Thickest pin of a valve that enters; bases with thicker ones are left alone",
        "mm",
        above=0,
        most=20,
    )

    def plan(self) -> SocketPin:
        """The same as a value."""
        return SocketPin(self.thinnest, self.thickest, self.hole, self.land, self.takes)
