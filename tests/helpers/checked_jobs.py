"""Jobs for the rules."""

from __future__ import annotations

from ezdxf.layouts.layout import Modelspace

from tests.helpers.small_job import changed, edge, pad, track

FAR = '[cutters.vee]\npreset = "vee-30-0.1"\n'


def job(nets: str, *, gap: str = "0.3", rules: str = "") -> str:
    text = changed(FAR, nets + "\n" + FAR) + rules
    return text.replace("gap = 0.3", f"gap = {gap}")


def net(name: str, at: tuple[float, float], more: str) -> str:
    return f'[[board.net]]\nname = "{name}"\nat = [{at[0]}, {at[1]}]\n{more}\n'


def wide_and_narrow(space: Modelspace) -> None:
    """A rail of 1.5 mm with a stretch of 0.5 mm."""
    edge(space)
    pad(space, 5.0, 10.0)
    pad(space, 25.0, 10.0)
    track(space, [(5.0, 10.0), (12.0, 10.0)], width=1.5)
    track(space, [(12.0, 10.0), (18.0, 10.0)], width=0.5)
    track(space, [(18.0, 10.0), (25.0, 10.0)], width=1.5)


RAIL = net("heater", (5.0, 10.0), "volts = 6.3") + "".join(
    f'[[board.net.load]]\nname = "{name}"\nat = [{x}, 10.0]\namperes = {amperes}\n'
    for name, x, amperes in (("feed", 5.0, -3.0), ("valve", 25.0, 3.0))
)
