"""Six small boards that go with the memory board. The circuits are invented."""

from __future__ import annotations

from copper import Pad, Sheet, U
from memory_board import routed_nets
from router import Router


def terminal(sheet: Sheet, net: str, x: float, y: float, size: float = 2.6) -> None:
    sheet.pads.append(Pad((x * U, y * U), net, net, size, 1.3, donut=True))
    sheet.notes.append((net, x * U, y * U + 2.1, 0.0))


def lamp_indicator() -> Sheet:
    """A 40 × 30 board with a notch for the cable and a window for the lens; components up."""
    sheet = Sheet(
        "lamp-indicator",
        [(0, 0, 2), (40, 0, 2), (40, 20, 2), (30, 20, 2), (30, 30, 2), (0, 30, 2)],
        windows=[(12.5, 9.5, 24.5, 18.5, 1.5)],
        mounts=[(3.6, 26.4, 3.2), (36.4, 3.6, 3.2)],
    )
    sheet.widths = {"0V": 1.2, "24V": 1.2}
    for net, x, y in (("24V", 3, 3), ("LAMP", 3, 8), ("0V", 3, 13), ("TEST", 28, 12)):
        terminal(sheet, net, x, y)
    sheet.part("R1", (6, 3), (14, 3), ("24V", "n1"))
    sheet.part("LD1", (16.5, 4), (20.5, 4), ("n1", "n2"))
    sheet.part("R2", (7, 7), (7, 15), ("LAMP", "b"))
    sheet.part("R3", (24.5, 12), (24.5, 4), ("TEST", "n2"))
    sheet.part("LD2", (13, 18.5), (17, 18.5), ("c", "n2"))
    # the transistor: emitter, base, collector in a row
    for net, x in (("0V", 6), ("b", 8), ("c", 10)):
        sheet.pads.append(Pad((x * U, 18.5 * U), net, f"T1 {net}", 1.9, 1.0))
    sheet.notes.append(("T1", 8 * U, 20 * U, 0.0))
    Router(sheet).route(routed_nets(sheet))
    return sheet


def relay_driver() -> Sheet:
    """A 50 × 35 board with one miniature valve that pulls a relay; components up, in inches."""
    sheet = Sheet(
        "relay-driver",
        [(0, 0, 3), (50, 0, 3), (50, 35, 3), (0, 35, 3)],
        mounts=[(4, 4, 3.2), (46, 4, 3.2), (4, 31, 3.2), (46, 31, 3.2)],
    )
    sheet.widths = {"H1": 1.5, "H2": 1.5, "GND": 1.5, "a": 1.2, "B+": 1.5, "g": 0.8}
    sheet.socket("V1", 17, 14, 112.5, ["g", "", "H1", "H2", "k", "", "a"])
    for net, x in (("H1", 12), ("H2", 18), ("GND", 24), ("IN", 30)):
        terminal(sheet, net, x, 3)
    for net, x in (("B+", 26), ("COIL", 32)):
        terminal(sheet, net, x, 24.5)
    sheet.part("R1", (7, 7), (7, 15), ("in2", "g"))
    sheet.part("R2", (4, 16), (4, 8), ("BIAS", "in2"))
    terminal(sheet, "BIAS", 8, 24.5)
    sheet.part("C1", (35, 8), (27, 8), ("IN", "in2"), 1.1, 2.4)
    sheet.part("R3", (25, 13), (33, 13), ("k", "GND"))
    sheet.part("C2", (25, 16), (33, 16), ("k", "GND"), 1.1, 2.4)
    sheet.part("R4", (20, 21), (28, 21), ("a", "COIL"))
    sheet.part("D1", (36, 21), (36, 13), ("COIL", "B+"), 1.1, 2.2)
    Router(sheet).route(routed_nets(sheet))
    return sheet


def fuse_holder() -> Sheet:
    """A 30 × 20 board with two fuse clips and a neon across each; drawn from the copper side."""
    sheet = Sheet(
        "fuse-holder",
        [(0, 0, 2), (30, 0, 2), (30, 20, 2), (0, 20, 2)],
        mounts=[(15.0, 10.0, 3.2)],
    )
    for k in (1, 2):
        line, load, glow = f"LINE{k}", f"LOAD{k}", f"n{k}"

        def up(y: float, k: int = k) -> float:
            return y if k == 1 else 15.75 - y

        for net, x in ((line, 3), (line, 7), (load, 17), (load, 21)):
            sheet.pads.append(Pad((x * U, up(3.5) * U), net, net, 3.2, 1.3))
        sheet.notes.append((f"F{k}", 12 * U, up(3) * U, 0.0))
        sheet.part(f"R{k}", (5, up(6)), (9, up(6)), (line, glow))
        sheet.part(f"N{k}", (15, up(6)), (19, up(6)), (glow, load))
        sheet.rail(line, 2.5, [(3, up(3.5)), (7, up(3.5))])
        sheet.rail(load, 2.5, [(17, up(3.5)), (21, up(3.5))])
        sheet.rail(line, 1.2, [(5, up(3.5)), (5, up(6))])
        sheet.rail(load, 1.2, [(19, up(3.5)), (19, up(6))])
        sheet.rail(glow, 1.0, [(9, up(6)), (10, up(4.75)), (14, up(4.75)), (15, up(6))])
    return sheet


def bleeder() -> Sheet:
    """An L of 32 × 28 mm: two resistors that empty the supply's capacitors; components up."""
    sheet = Sheet(
        "bleeder",
        [(0, 0, 2), (32, 0, 2), (32, 13, 2), (16, 13, 2), (16, 28, 2), (0, 28, 2)],
        mounts=[(11.5, 9.5, 3.2)],
    )
    sheet.widths = {"B+": 1.2, "0V": 1.2, "m": 1.2}
    for net, x, y in (("B+", 9, 18.5), ("0V", 22, 7)):
        terminal(sheet, net, x, y)
    sheet.part("R1", (4, 18.5), (4, 10.5), ("B+", "m"))
    sheet.part("R2", (7, 3.5), (17, 3.5), ("m", "0V"))
    Router(sheet).route(routed_nets(sheet))
    return sheet


def coupling() -> Sheet:
    """A round-ended strip of 44 × 15 mm that takes a pulse from stage to stage; components up."""
    sheet = Sheet("coupling", [(0, 0, 7), (44, 0, 7), (44, 15, 7), (0, 15, 7)])
    sheet.widths = {"IN": 1.2, "OUT": 1.2, "0V": 1.2}
    for net, x, y in (("IN", 4.5, 6), ("OUT", 30, 6), ("0V", 26, 3.2)):
        terminal(sheet, net, x, y)
    sheet.part("C1", (8.5, 6), (16.5, 6), ("IN", "OUT"), 1.1, 2.4)
    sheet.part("R1", (15, 3.2), (22, 3.2), ("OUT", "0V"))
    Router(sheet).route(routed_nets(sheet))
    return sheet


def lamp_relay() -> Sheet:
    """A T of 40 × 30 mm with the relay that lights the lamp; drawn from the copper side."""
    sheet = Sheet(
        "lamp-relay",
        [
            (12, 0, 2), (28, 0, 2), (28, 14, 2), (40, 14, 2),
            (40, 30, 2), (0, 30, 2), (0, 14, 2), (12, 14, 2),
        ],
        mounts=[(20.0, 25.0, 3.2)],
    )  # fmt: skip
    sheet.widths = {"c1": 1.2, "c2": 1.2, "COM": 2.0, "ON": 2.0}
    for net, x, y in (("c1", 12.5, 3.5), ("c2", 19, 3.5), ("COM", 4, 18.5), ("ON", 27.5, 18.5)):
        terminal(sheet, net, x, y)
    sheet.part("K1", (12.5, 7.5), (19, 7.5), ("c1", "c2"), 1.3, 2.6)
    sheet.part("D1", (12, 11.5), (19.5, 11.5), ("c1", "c2"), 1.1, 2.2)
    sheet.part("S1", (8, 15), (23.5, 15), ("COM", "ON"), 1.3, 2.6)
    Router(sheet).route(routed_nets(sheet))
    return sheet
