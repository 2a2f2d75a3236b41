"""Netlist files: IPC-D-356 and 356A test records, and a plain table of net, x, y.

The columns of a test record are those of IPC-D-356A, from memory: record 1-3, net 4-17, part
21-26, pin 28-31, hole 33-38 (D, four digits, P or U), access 39-41, x 42-49, y 50-57.
"""

from __future__ import annotations

import csv
import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from millprep.files.reading import contents
from millprep.model.board import NetPoint
from millprep.model.finding import Finding, Refusal, stop

INCH = 25.4
MOST_BYTES = 16_000_000
MOST_POINTS = 20_000
LARGEST = 10_000.0
"""No board has a point farther than this from its origin, mm."""
NOT_CONNECTED = "N/C"

TENTH_OF_A_MIL, MICRON = INCH / 10_000, 0.001
UNITS = {
    "CUST 0": TENTH_OF_A_MIL,
    "CUST 1": MICRON,
    "CUST 2": TENTH_OF_A_MIL,
    "CUST": TENTH_OF_A_MIL,
    "SI": MICRON,
}
"""The last digit of a coordinate by the unit that the file states, mm; CUST 0 and 2 differ in the
unit of angles only."""

POINTS = {"317", "327", "367", "017", "027", "067"}
"""Records of points: drilled, on the surface, unplated hole; 0 continues the record before."""
SKIPPED = {
    *("378", "078", "379", "079", "389", "089", "390", "090", "099"),
    *("307", "007", "309", "009", "370", "070", "380", "388"),
}
"""Records without points of copper: conductors, neighbours, edges, panels, buried vias."""
PLACE = re.compile(r"X([+ -]?\d{1,7})\s*Y([+ -]?\d{1,7})")
ALIAS = re.compile(r"(NNAME\w+)\s+(\S.*?)\s*$")
COLUMNS = ("net", "x", "y", "part", "pin", "hole")


@dataclass(frozen=True, slots=True)
class NetlistFile:
    """A netlist as its file gives it.

    Attributes:
        points: in the order of the file, mm, in the file's own frame.
        scales: by what coordinates may have to be multiplied; more than one where the file
            states no unit.
        skipped: number of records of conductors, neighbours, edges and buried vias.
    """

    points: tuple[NetPoint, ...]
    scales: tuple[float, ...] = (1.0,)
    skipped: int = 0


def read_netlist(file: Path, shown_as: str) -> NetlistFile:
    """Read a netlist file.

    Raises:
        Refusal: exit code 3, with every line that cannot be read and what to do.
    """
    try:
        raw = contents(file, MOST_BYTES)
    except OSError as fault:
        words = f"The netlist cannot be read ({fault.strerror}). Correct `netlist` in the job."
        raise _refused(words, shown_as) from None
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return parse(text, shown_as)


def parse(text: str, shown_as: str) -> NetlistFile:
    """Read a netlist: a table when its first line names the columns, else IPC-D-356.

    Raises:
        Refusal: exit code 3, with every line that cannot be read and what to do.
    """
    lines = re.split(r"\r\n|\n|\r", text)
    first = next((n for n, line in enumerate(lines) if line.strip() and line[0] != "#"), None)
    if first is None:
        raise _refused("The netlist is empty. Export it again.", shown_as)
    if re.match(r'\s*"?net"?\s*[,;\t]', lines[first], re.IGNORECASE):
        reader: _Table | _Records = _Table(shown_as)
    else:
        reader = _Records(shown_as)
    reader.read(lines[first:], first + 1)
    if not reader.faults and not any(point.net for point in reader.points):
        reader.fault(None, "The netlist holds no point of any net. Export it again.")
    if reader.faults:
        raise Refusal(reader.faults, exit_code=3)
    scales = (1.0, INCH) if isinstance(reader, _Table) else (1.0,)
    return NetlistFile(tuple(reader.points), scales, reader.skipped)


def _refused(words: str, shown_as: str) -> Refusal:
    return Refusal([stop("netlist-unreadable", words, shown_as)], exit_code=3)


@dataclass
class _NetlistReader:
    shown_as: str
    points: list[NetPoint] = field(default_factory=list)
    faults: list[Finding] = field(default_factory=list)
    skipped: int = 0

    def fault(self, line: int | None, words: str) -> None:
        """Note what cannot be read; `line` from 1."""
        where = "" if line is None else f"Line {line}: "
        self.faults.append(
            Finding(
                code="netlist-unreadable",
                severity="stop",
                message=f"{where}{words}",
                file=self.shown_as,
                line=line,
            )
        )

    def add(self, line: int, point: NetPoint) -> bool:
        """Keep a point; False when there are too many."""
        if not all(math.isfinite(value) and abs(value) <= LARGEST for value in point.at):
            self.fault(line, f"the point is more than {LARGEST:g} mm from the origin; check units.")
        elif len(self.points) == MOST_POINTS:
            self.fault(line, f"the netlist has more than {MOST_POINTS} points; export one board.")
            return False
        else:
            self.points.append(point)
        return True


class _Records(_NetlistReader):
    """IPC-D-356: one record a line, fields in fixed columns."""

    def read(self, lines: Sequence[str], first: int) -> None:
        """All records up to the one that ends the file; `first` is the number of their line."""
        digit: float | None = None
        aliases: dict[str, str] = {}
        for n, line in enumerate(lines, first):
            if line.startswith("P") and (alias := ALIAS.search(line)):
                name, net = alias[1], alias[2]
                if aliases.setdefault(name, net) != net:
                    self.fault(n, f"{name} has two names, {aliases[name]} and {net}; keep one.")
        ended = False
        for n, line in enumerate(lines, first):
            kind = line[:3]
            if not line.strip() or line[0] in "Cc#":
                continue
            if kind == "999":
                ended = True
                break
            if line[0] in "Pp":
                if (unit := re.match(r"P\s+UNITS\s+(\S+(?:\s+\d)?)", line.upper())) is not None:
                    digit = UNITS.get(" ".join(unit[1].split()))
                    if digit is None:
                        words = f"the unit {unit[1]!r} is unknown; CUST 0, 1, 2 and SI are read."
                        self.fault(n, words)
                        return
            elif kind in POINTS:
                if digit is None:
                    words = "a point before any P UNITS record; add P  UNITS CUST 0 (inch) or 1."
                    self.fault(n, words)
                    return
                if not self._point(n, line, digit, aliases):
                    return
            elif kind in SKIPPED:
                self.skipped += 1
            else:
                self.fault(n, f"{kind!r} begins no record of IPC-D-356; export the netlist again.")
        if not ended:
            self.fault(None, "Record 999 is missing: the netlist is cut short. Export it again.")

    def _point(self, n: int, line: str, digit: float, aliases: dict[str, str]) -> bool:
        """Read one test record; False when no more can be kept."""
        place = PLACE.match(line, 41)
        if place is None:
            if line[0] == "0":
                return True
            words = "columns 42 to 57 hold no place such as X+012345Y+012345; export it again."
            self.fault(n, words)
            return True
        access = re.fullmatch(r"A(\d\d)", line[38:41])
        if access is None:
            self.fault(n, f"columns 39 to 41 hold no access code such as A00: {line[38:41]!r}.")
            return True
        net = line[3:17].strip()
        if line[0] == "0" and not net and self.points:
            net = self.points[-1].net or ""
        if net.startswith("NNAME"):
            if net not in aliases:
                self.fault(n, f"{net} is given no name by a P record; export the netlist again.")
                return True
            net = aliases[net]
        drilled = re.match(r"D\d{4}", line[32:37]) is not None
        at = (round(int(place[1]) * digit, 6), round(int(place[2]) * digit, 6))
        free = not net or net.upper() == NOT_CONNECTED
        part, pin = line[20:26].strip(), line[27:31].strip()
        part = "" if part.upper() == "VIA" else part
        point = NetPoint(None if free else net, at, part, pin, drilled, int(access[1]), n)
        return self.add(n, point)


class _Table(_NetlistReader):
    """A table with a header: net, x, y in any order, and part, pin, hole where known."""

    def read(self, lines: Sequence[str], first: int) -> None:
        """The header and the rows below it; `first` is the number of the header's line."""
        try:
            names = [name.strip().lower() for name in next(csv.reader(lines[:1]))]
        except csv.Error:
            # a cell without an end
            names = []
        unknown = sorted(set(names) - set(COLUMNS))
        if unknown or len(set(names)) < len(names) or not {"net", "x", "y"} <= set(names):
            words = "the header must be net,x,y and may have part,pin,hole; commas between them."
            self.fault(first, words)
            return
        for n, line in enumerate(lines[1:], first + 1):
            if not line.strip() or line.startswith("#"):
                continue
            try:
                cells = [cell.strip() for cell in next(csv.reader([line], strict=True))]
            except csv.Error as fault:
                self.fault(n, f"{fault}; write one row of {len(names)} cells.")
                continue
            if len(cells) != len(names):
                words = f"{len(cells)} cells under {len(names)} column names; "
                self.fault(n, f"{words}separate cells by commas and write 1.5, not 1,5.")
                continue
            row = dict(zip(names, cells, strict=True))
            values = {name: _number(row[name]) for name in ("x", "y", "hole") if row.get(name)}
            wrong = [name for name, value in values.items() if value is None]
            if wrong or "x" not in values or "y" not in values:
                name = wrong[0] if wrong else "x and y"
                self.fault(n, f"{name} must be plain numbers such as 12.7.")
                continue
            free = row["net"].upper() in ("", NOT_CONNECTED)
            hole = (values.get("hole") or 0.0) > 0 if "hole" in names else None
            at = (values["x"] or 0.0, values["y"] or 0.0)
            part, pin = row.get("part", ""), row.get("pin", "")
            if not self.add(n, NetPoint(None if free else row["net"], at, part, pin, hole, 0, n)):
                return


def _number(cell: str) -> float | None:
    """The number that a cell holds, None if it is none."""
    return float(cell) if re.fullmatch(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,2})?", cell) else None
