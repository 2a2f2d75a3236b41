"""Draw the lighthouse boards: `python draw.py` writes DXF files and netlist beside it.

Needs ezdxf and shapely. Every board is proved before it is written: its copper pieces are
what the nets say, no gap is below 0.5 mm, no pad is eaten by its hole.
"""

from __future__ import annotations

import sys
from pathlib import Path

from copper import Sheet, examine
from dxf_file import write_dxf
from memory_board import memory_board
from memory_nets import net_rows, netlist
from small_boards import (
    bleeder,
    coupling,
    fuse_holder,
    lamp_indicator,
    lamp_relay,
    relay_driver,
)

NETS = ("net = [ # written by draw.py", "] # end of the nets that draw.py wrote")
WIRES = ("links = [ # written by draw.py", "] # end of what draw.py wrote")


def wires_into(job: Path, sheets: list[Sheet]) -> None:
    """Renew the lists of wires in a job file, one list a board, in the file's order."""
    if not job.exists():
        return
    text = job.read_text(encoding="utf-8")
    done = ""
    for sheet in sheets:
        before, rest = text.split(WIRES[0], 1)
        _, text = rest.split(WIRES[1], 1)
        rows = "".join(
            f"  [[{a[0]:.4f}, {a[1]:.4f}], [{b[0]:.4f}, {b[1]:.4f}]],\n"
            for a, b in ((link.a, link.b) for link in sheet.links)
        )
        done += f"{before}{WIRES[0]}\n{rows}{WIRES[1]}"
    job.write_text(done + text, encoding="utf-8", newline="\n")


def nets_into(job: Path, sheet: Sheet) -> None:
    """Renew the list of nets in a job file."""
    if not job.exists():
        return
    before, rest = job.read_text(encoding="utf-8").split(NETS[0], 1)
    _, after = rest.split(NETS[1], 1)
    text = f"{before}{NETS[0]}\n{net_rows(sheet)}{NETS[1]}{after}"
    job.write_text(text, encoding="utf-8", newline="\n")


def main() -> int:
    here = Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent
    memory = memory_board()
    small = [
        lamp_indicator(),
        relay_driver(),
        fuse_holder(),
        bleeder(),
        coupling(),
        lamp_relay(),
    ]
    faulty = False
    for sheet in [memory, *small]:
        found = examine(sheet)
        print(
            f"{sheet.name}: {found.holes} holes, {found.pieces} pieces "
            f"({found.lone} spare pads), {found.tracks} tracks, {found.links} wires, "
            f"narrowest gap {found.gap:.3f} at ({found.gap_at[0]:.2f}, {found.gap_at[1]:.2f}), "
            f"copper {found.edge:.2f} from the edge"
        )
        for fault in found.faults:
            print(f"  {fault}")
            faulty = True
    if faulty:
        return 1
    for sheet in [memory, *small]:
        write_dxf(sheet, here / f"{sheet.name}.dxf", inches=sheet.name == "relay-driver")
    wires_into(here / "memory-board.toml", [memory])
    nets_into(here / "memory-board.toml", memory)
    file = here / "memory-board-netlist.csv"
    file.write_text(netlist(memory), encoding="utf-8", newline="\n")
    wires_into(here / "indicators.toml", small)
    return 0


if __name__ == "__main__":
    sys.exit(main())
