"""What the memory board's nets carry: invented like its circuit, for the rules to judge.

A stage's three valves draw 0.15 A of heater current each and 2 mA of anode current.
"""

from __future__ import annotations

from copper import Pad, Sheet
from memory_board import STAGES

HEATER, ANODE = 0.15, 0.002  # A, each valve
SUPPLY, BIAS = 250.0, -40.0  # V
RAILS = {  # those whose name stands on them in the drawing
    "GND": 0.0,
    "H1": 6.3,
    "H2": 0.0,
    "B+": SUPPLY,
    "BIAS": BIAS,
    "RESET": [BIAS, 0.0],
    "RING": [BIAS, SUPPLY],
    "LONG": [0.0, SUPPLY],
    "SHORT": [0.0, SUPPLY],
}
STAGE = {  # of every stage
    "bl": [0.0, SUPPLY],
    "a1": [0.0, SUPPLY],
    "a2": [0.0, SUPPLY],
    "a3": [0.0, SUPPLY],
    "g1": [BIAS, 0.0],
    "g2": [BIAS, 0.0],
    "g3": [BIAS, 0.0],
}


def net_rows(sheet: Sheet) -> str:
    """The job's `net` list, without its brackets."""
    rows = ""
    for net, volts in RAILS.items():
        loads = rail_loads(sheet, net)
        rows += f'  {{ name = "{net}", text = "{net}", volts = {told(volts)}'
        if loads:
            rows += ", load = [\n" + "".join(f"    {load},\n" for load in loads) + "  ]"
        rows += " },\n"
    for stage in range(1, STAGES + 1):
        for net, volts in STAGE.items():
            pad = next(pad for pad in sheet.pads if pad.net == f"{net}/{stage}")
            rows += f'  {{ name = "{net}-{stage}", at = {place(pad)}, volts = {told(volts)} }},\n'
    return rows


def netlist(sheet: Sheet) -> str:
    """Every pad with its net, as the circuit means it, for the proof to compare the copper with."""
    rows = [
        "# The memory board's circuit, written by draw.py from its parts, not from its copper.",
        "net,x,y,part,pin,hole",
    ]
    for pad in sheet.pads:
        net = "" if pad.spare else pad.net.replace("/", "-")
        part, _, pin = pad.name.partition(".")
        rows.append(f"{net},{pad.at[0]:.4f},{pad.at[1]:.4f},{part},{pin},{pad.hole}")
    return "\n".join(rows) + "\n"


def rail_loads(sheet: Sheet, net: str) -> list[str]:
    """What enters a rail at its left terminal leaves it at the valves, or the other way."""
    pads = [pad for pad in sheet.pads if pad.net == net]
    sockets = [pad for pad in pads if pad.name.startswith("V")]
    if net in ("H1", "H2"):
        drawn = [(pad.name.split(".")[0] + " heater", pad, HEATER) for pad in sockets]
        sign = 1 if net == "H1" else -1
    elif net == "B+":
        ends = [pad for pad in pads if pad.name.startswith("R0-")]
        drawn, sign = [(f"stage {pad.name[3]}", pad, 3 * ANODE) for pad in ends], 1
    elif net == "GND":
        ends = [pad for pad in pads if pad.name.split("-")[0] in ("R9", "R10", "R21")]
        drawn, sign = [(pad.name.split(".")[0], pad, ANODE) for pad in ends], -1
    else:
        return []
    feed = min((p for p in pads if p.name.endswith("terminal")), key=lambda p: p.at)
    total = sum(amperes for _, _, amperes in drawn)
    rows = [(f"{net} terminal", feed, -total), *drawn]
    return [
        f'{{ name = "{name}", at = {place(pad)}, amperes = {sign * amperes:.6g} }}'
        for name, pad, amperes in rows
    ]


def place(pad: Pad) -> str:
    return f"[{pad.at[0]:.4f}, {pad.at[1]:.4f}]"


def told(volts: float | list[float]) -> str:
    return str(volts)
