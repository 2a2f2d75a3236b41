"""The memory board: six stages of a ring of flip-flops, one after the other along 480 mm.

The circuit is invented. In each stage V1 and V2 hold one bit, V3 drives the lamp's line; the
diode D4 and the wire beside it choose whether the stage means a short or a long flash.
Places are in modules of 1.27 mm; a stage is 63 modules, 80.01 mm.
"""

from __future__ import annotations

from copper import Area, Pad, Sheet, U
from router import Router

STAGES = 6
PITCH = 63
LENGTH, HEIGHT = 480.0, 90.0
LEFT, RIGHT = 4, 374
CODE = ("SHORT", "LONG", "SHORT", "SHORT", "LONG", "")  # the lamp's flash code, one a stage

# net, width, y, first x, last x
RAILS = (
    ("RING", 1.2, 6, 8, 370),
    ("H2", 3.5, 9, LEFT, RIGHT),
    ("H1", 3.5, 13, LEFT, RIGHT),
    ("GND", 3.0, 31, LEFT, RIGHT + 1.5),
    ("RESET", 1.0, 34, LEFT, RIGHT),
    ("BIAS", 3.0, 59, LEFT, RIGHT),
    ("B+", 3.5, 63, LEFT, RIGHT),
    ("LONG", 1.2, 66.5, 12, 366),
    ("SHORT", 1.2, 68.5, 8, 370),
)


def memory_board() -> Sheet:
    sheet = Sheet(
        "memory-board",
        [(0, 0, 3), (LENGTH, 0, 3), (LENGTH, HEIGHT, 3), (0, HEIGHT, 3)],
    )
    sheet.mounts = [(x, y, 3.2) for x in (4.0, LENGTH - 4.0) for y in (4.0, HEIGHT - 4.0)]
    for border in (2, 4):
        x = (border * PITCH - 0.5) * U
        sheet.mounts += [(x, 3 * U, 3.2), (x, 23.5 * U, 3.2)]
        # Ground spreads round the inner screw and leaves its head bare.
        low, high, left, right = 18.5 * U, 31 * U, x - 3.55, x + 3.55
        corners = [(left, low), (right, low), (right, high), (left, high)]
        sheet.areas.append(Area(corners, [(x, 23.5 * U, 2.6)], "GND"))
    for net, width, y, first, last in RAILS:
        sheet.rail(net, width, [(first, y), (last, y)])
        size = 3.0 if width > 2 else 2.4
        for x in (first, last):
            sheet.pads.append(Pad((x * U, y * U), net, f"{net} terminal", size, 1.3))
            sheet.notes.append((net, (x + (4 if x < 100 else -4)) * U, y * U, 0.0))
    for stage in range(1, STAGES + 1):
        place_stage(sheet, stage)
    nets = routed_nets(sheet)
    Router(sheet).route(nets)
    return sheet


def place_stage(sheet: Sheet, stage: int) -> None:
    x0 = (stage - 1) * PITCH

    def own(net: str) -> str:
        shared = {"B+", "GND", "BIAS", "RESET", "H1", "H2", "RING", "LONG", "SHORT", ""}
        return net if net in shared else f"{net}/{stage}"

    def part(name: str, a: tuple, b: tuple, nets: str, size: float = 2.0) -> None:
        first, second = nets.split()
        sheet.part(
            f"{name}-{stage}",
            (x0 + a[0], a[1]),
            (x0 + b[0], b[1]),
            (own(first), own(second)),
            hole=1.1 if name[0] in "CD" else 1.0,
            size=2.4 if name[0] == "C" else size,
        )

    sheet.notes.append((f"STAGE {stage}", (x0 + 31) * U, 68.5 * U + 1.9, 0.0))
    for k, x in enumerate((10.5, 31, 51.5), 1):
        # 1 grid, 3 and 4 heater, 5 cathode, 7 anode; 2 and 6 are not connected in the valve.
        nets = [f"g{k}", "", "H1", "H2", f"k{k}", "", f"a{k}"]
        sheet.socket(f"V{k}-{stage}", x0 + x, 22, 112.5, [own(n) for n in nets])
        sheet.link((x0 + x + 4.5, 16.5), (x0 + x + 4.5, 8.5), "H2")
        sheet.widths["H1"] = sheet.widths["H2"] = 1.5
    # below the ground rail, and across it
    part("R7", (3.5, 37), (3.5, 27), "x1 g1")
    part("R9", (18.5, 31), (18.5, 23), "GND k1")
    part("R8", (23.5, 37), (23.5, 27), "x2 g2")
    part("R10", (39, 31), (39, 23), "GND k2")
    part("R20", (44, 37), (44, 27), "y3 g3")
    part("R21", (58, 31), (58, 23), "GND k3")
    part("R22", (55, 37.5), (55, 27.5), "lamp a3")
    # from the stage before
    source = "RING" if stage == 1 else f"out/{stage - 1}"
    sheet.part(f"C13-{stage}", (x0 + 2.5, 41), (x0 + 10.5, 41), (source, own("t1")), 1.1, 2.4)
    part("D1", (10.5, 45), (2.5, 45), "t1 x1")
    # supply and loads
    part("R0", (10, 63), (10, 51), "B+ bl")
    part("R1", (14, 51), (14, 41), "bl a1")
    part("R2", (40, 51), (40, 41), "bl a2")
    # cross coupling and bias
    part("R5", (7, 59), (7, 49), "BIAS x1")
    part("R6", (30, 59), (30, 49), "BIAS x2")
    part("R4", (17, 48), (27, 48), "x1 a2")
    part("R3", (17, 55), (27, 55), "a1 x2")
    # reset, coupling out, driver
    part("C14", (20, 34), (20, 42), "RESET t2")
    part("D2", (20, 45), (28, 45), "t2 x2")
    part("R17", (34, 54), (44, 54), "a1 y3")
    part("C16", (47, 43), (55, 43), "a2 o1")
    after = "RING" if stage == STAGES else own("out")
    sheet.part(f"D3-{stage}", (x0 + 58, 43), (x0 + 58, 51), (own("o1"), after), 1.1, 2.0)
    # The wire to one of the lamp's two lines is the code; a dark stage has its pad, no wire.
    line = CODE[stage - 1]
    part("D4", (51, 48.5), (51, 56.5), f"lamp {line or 'dark'}")
    if line:
        sheet.link((x0 + 55, 56.5), (x0 + 55, 66.5 if line == "LONG" else 68.5), line)
    else:
        sheet.pads.append(Pad(((x0 + 55) * U, 56.5 * U), own("dark"), "code", 2.2, 1.0, donut=True))
    if stage in (1, 4):
        part("C0", (34, 31), (34, 43), "GND bl")  # one reservoir for three stages is enough
    if stage == 1:
        part("R24", (33, 49), (33, 59), "x2 BIAS")  # the ring starts here
    for k in range(3):
        sheet.spare(f"spare{stage}{k}", x0 + 22 + 4 * k, 3)
    for net, width in (("bl", 1.2), ("a1", 1.2), ("a2", 1.2), ("a3", 1.2), ("lamp", 1.2)):
        sheet.widths[own(net)] = width
    for net in ("g1", "g2", "g3"):
        sheet.widths[own(net)] = 0.8


def routed_nets(sheet: Sheet) -> list[str]:
    """Short nets first: they have the least choice."""
    spans: dict[str, list[tuple[float, float]]] = {}
    for pad in sheet.pads:
        if not pad.spare:
            spans.setdefault(pad.net, []).append(pad.at)

    def length(net: str) -> float:
        xs, ys = zip(*spans[net], strict=True)
        return float(max(xs) - min(xs) + max(ys) - min(ys))

    rails = [net for net, *_ in RAILS if net in spans]
    first = [net for net in ("H1", "H2") if net in spans]
    rest = sorted((n for n in spans if n not in rails), key=lambda n: (round(length(n), 3), n))
    return first + rest + [net for net in rails if net not in first]
