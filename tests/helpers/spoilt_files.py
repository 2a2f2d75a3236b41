"""Gerber, drill and netlist files damaged at random, one with every kind of statement for each."""

from __future__ import annotations

import random
import re
from pathlib import Path

from tests.helpers.small_job import JOB, put

GERBER = """%TF.FileFunction,Copper,L2,Bot*%
G04 every kind of statement*
%FSLAX34Y34*%
%MOMM*%
%AMTHERM*7,$1/2,0,$2,$3,0.3,0*%
%AMSTAR*$3=$1x2*1,1,$3,0,0*4,1,4,0,0,$1,0,$1,$1,0,$1,0,0,$2*5,1,6,$1,0,$3,0*%
%AMBARS*20,1,$1,0,0,2,0,0*21,1,$1,2,0,0,45*1,0,$1/2,0,0*%
%ADD10C,0.5*%
%ADD11R,2.0X1.0X0.4*%
%ADD12O,2.0X1.0*%
%ADD13P,2.0X6X15X0.5*%
%ADD14THERM,0X2.0X1.0*%
%ADD15STAR,0.8X30*%
%ADD16BARS,0.4*%
%ABD20*%
D10*
X0Y0D03*
X10000Y0D02*
X20000D01*
%AB*%
%TO.N,GND*%
D11*
X20000Y20000D03*
D10*
X20000Y20000D02*
G01X60000Y20000D01*
%TD*%
G75*
G03X80000Y40000I0J20000D01*
%LPC*%
D10*
X50000Y20000D03*
%LPD*%
D12*
X100000Y20000D03*
D13*
X100000Y60000D03*
D14*
X140000Y20000D03*
D15*
X140000Y60000D03*
D16*
X140000Y100000D03*
G36*
X20000Y100000D02*
G01X60000D01*
Y140000D01*
G02X20000Y100000I-40000J0D01*
G37*
%SRX3Y2I5.0J5.0*%
D10*
X100000Y100000D03*
%SR*%
%LMX*%
%LR30*%
%LS1.5*%
D20*
X180000Y100000D03*
M02*
"""
DRILL = """M48
; every kind of statement
FMAT,2
METRIC,TZ,000.000
T1C0.800
T2C1.200F200S50
%
G90
G05
T1
X2.0Y2.0
X10.0
R3Y1.0
T2
X14.0Y2.0G85X16.0Y2.0
G00X4.0Y12.0
M15
G01X8.0Y12.0
G03X10.0Y14.0I0.0J2.0
M16
G05
G91
X1.0Y1.0
T0
M30
"""
NETLIST = """C  every kind of record
P  JOB lamp
P  UNITS CUST 1
P  NNAME1 A_NAME_LONGER_THAN_FOURTEEN
317GND              R1    -2    D0100PA00X+008000Y+006000X0200Y0000R270S0
317NNAME1           VIA        MD0100PA00X+022000Y+006000X0200Y0000R000S3
327N/C              U1    -12         A02X+015000Y+014000X0240Y0000R000S1
367N/C              H2          D0320UA00X+004000Y+004000X0320Y0000R000S0
017GND                          D0100PA02X+008000Y+006000
378GND           D12 X001000Y001000 X002000
999
"""
NUMBERS = ["0", "-1", "1", "99999999", "1e9", "nan", "0.0000001", "123456789012", "", "+", "."]
GERBER_LINES = [
    "%FSTAX34Y34*%", "%FSLAX00Y00*%", "%FSLIX66Y66*%", "%MOIN*%", "G36*", "G37*", "D99*", "G74*",
    "%SRX1000Y1000I0.1J0.1*%", "%SRX300Y300I1.0J1.0*%", "%ABD21*%", "%AB*%", "D20*", "M02*", "%",
    "%AMLOOP*$1=$1x$1*$1=$1x$1*1,1,$1,0,0*%", "%ADD30LOOP,9*%", "%ADD31C,0*%", "%LPC*%", "G91*",
    "G02X0Y0I0J0D01*", "X0Y0D03*", "%IPNEG*%", "%IF other.gbr*%", "%LS0*%", "%ADD10D20*%",
]  # fmt: skip
DRILL_LINES = [
    "R1000000X0.01", "R99999Y0.1", "METRIC,LZ", "INCH,TZ", "INCH,LZ,00.0000", "T99", "T1C0", "M71",
    "ICI,ON", "G00X1Y1", "M15", "M16", "G02X3Y3A0.1", "G85", "M30", "M48", "G93X1Y1", "T1C1e9",
]  # fmt: skip
NETLIST_LINES = [
    "P  UNITS SI", "P  UNITS CUST 9", "999", "317", "C", "P  NNAME1", "P  IMAGE PANEL",
    "317GND              R1    -2    D0100PA00X+999999Y-999999X0200Y0000R270S0",
]  # fmt: skip
FILES = {
    "gerber": (GERBER, GERBER_LINES), "drill": (DRILL, DRILL_LINES),
    "netlist": (NETLIST, NETLIST_LINES),
}  # fmt: skip


def spoilt_text(kind: str, rng: random.Random) -> bytes:
    """The file of a kind with a few lines, numbers or characters changed, repeated or cut off."""
    text, lines = FILES[kind]
    rows = text.split("\n")
    for _ in range(rng.randint(1, 4)):
        k = rng.randrange(len(rows))
        way = rng.choice([*["number"] * 4, *["line"] * 4, *"xxyztcb", "many"])
        if way == "number":
            parts = re.split(r"(\d+(?:\.\d+)?)", rows[k])
            if len(parts) > 1:
                parts[rng.randrange(1, len(parts), 2)] = rng.choice(NUMBERS)
            rows[k] = "".join(parts)
        elif way == "line":
            rows.insert(k, rng.choice(lines))
        elif way == "x":
            del rows[k]
        elif way == "y":
            rows[k:k] = [rows[k]] * rng.choice([1, 3, 500])
        elif way == "z":
            j = rng.randrange(len(rows))
            rows[j], rows[k] = rows[k], rows[j]
        elif way == "t":
            del rows[k:]
        elif way == "c":
            rows[k] = rows[k][: rng.randrange(len(rows[k]) + 1)]
        elif way == "b" and rows[k]:
            at = rng.randrange(len(rows[k]))
            rows[k] = rows[k][:at] + rng.choice("\0%*.-XYDGM,$ é") + rows[k][at + 1 :]
        elif way == "many" and rng.random() < 0.1:
            rows[k:k] = [rows[k]] * 1_000_000
        rows = rows or [""]
    return "\n".join(rows).encode("utf-8")


def put_spoilt(kind: str, rng: random.Random, folder: Path) -> list[str]:
    """Write a damaged file of a kind; the words of the command that reads it."""
    content = spoilt_text(kind, rng)
    if kind == "netlist":
        job = put(folder, JOB.replace("layers = ", 'netlist = "spoilt.ipc"\nlayers = ', 1))
        (folder / "spoilt.ipc").write_bytes(content)
        return ["layout", str(job)]
    names = {"gerber": ("spoilt.gbr", "whole.drl"), "drill": ("whole.gbr", "spoilt.drl")}[kind]
    for name in names:
        whole = GERBER if name.endswith("gbr") else DRILL
        (folder / name).write_bytes(content if name.startswith("spoilt") else whole.encode())
    copper, drill = (str(folder / name) for name in names)
    if rng.random() < 0.3:
        return ["inspect", copper if kind == "gerber" else drill]
    return ["new", copper, "--holes-drawing", drill, "--margin", "1"]
