"""Programs as RS-274 text (NISTIR 6556): G0 to G3, dwells, and G38.2 where holes are touched.

Every motion line carries its G word, every number a decimal point; no canned cycles, no
lines over 200 characters.
"""

from __future__ import annotations

import re
from collections.abc import Callable

from millprep.program.sink import number
from millprep.values.cutter import Cutter, Drill, EndMill, Vee
from millprep.values.machine import Machine
from millprep.values.program import Move, Program

WORDS = {"rapid": "G0", "feed": "G1", "arc_cw": "G2", "arc_ccw": "G3", "probe": "G38.2"}
WIDTH = 200


def words(text: str) -> str:
    """Text that may stand in a comment: no brackets, no control or foreign characters."""
    plain = re.sub(r"[^\x20-\x7e]", "?", text.replace("(", "[").replace(")", "]"))
    return plain[: WIDTH - 10]


def describe(cutter: Cutter) -> str:
    """The cutter in words, for the person who puts it in."""
    if isinstance(cutter, Vee):
        return f"vee, tip {cutter.tip:g} mm, {cutter.angle:g} degrees included"
    if isinstance(cutter, EndMill):
        return f"end mill, {cutter.diameter:g} mm"
    assert isinstance(cutter, Drill)
    return f"drill, {cutter.diameter:g} mm"


def _position(program: Program) -> str:
    """Where the blank lies when the program runs."""
    if program.mill_pass == 0:
        return f"the bed, pins for blank {program.blank}"
    return f"blank {program.blank}, pass {program.mill_pass}"


def _deepest(program: Program) -> float:
    """The lowest a program goes; above zero where it never meets the copper."""
    return -program.depth if program.spins else min(move.z for move in program.moves)


class TextSink:
    """Writes one program through a `write` callable.

    Args:
        write: takes one line at a time, line feed included.
        set_id: the set's id, written into the head.
        job: name of the job.
        machine: how its spindle is switched.

    Attributes:
        line: number of the line written last, from 1.
        opening: lines of the two motions in the head, up and over the start.
    """

    def __init__(
        self, write: Callable[[str], object], set_id: str, job: str, machine: Machine
    ) -> None:
        self._write = write
        self._set_id = set_id
        self._job = job
        self._machine = machine
        self._at = (0.0, 0.0, 0.0)
        self._feed: str | None = None
        self._wait = 0.0
        self._stop = ""
        self._spins = True
        self.line = 0
        self.opening: tuple[int, ...] = ()

    def begin(self, program: Program) -> None:
        """Head: what the file is, which cutter, zero, spindle."""
        machine, cutter = self._machine, program.cutter
        x, y, _ = program.start
        head = [
            f"job {self._job}, set {self._set_id}",
            f"{_position(program)}, {' and '.join(program.works)}",
            f"cutter {cutter.name}: {describe(cutter)}",
            f"put in {cutter.name}, then set Z zero with it on {program.zero_on} at "
            f"X{number(x)} Y{number(y)}",
            "X and Y zero stay as they were set for this pass",
            f"deepest Z{number(_deepest(program))}, rapid moves at Z{number(machine.clearance)}",
            *program.notes,
        ]
        for line in head:
            self._line(f"({words(line)})")
        self._line("G21 G90 G17 G94 G40 G49 G80 G54")
        x, y, z = program.start
        # the first move goes up, before the spindle starts and before any move across
        self._line(f"G0 Z{number(machine.clearance)}")
        up = self.line
        self._spins = program.spins
        if not program.spins:
            self._line("(the spindle stays off)")
            if machine.spindle_by_program:
                self._line("M5")
        elif machine.spindle_by_program:
            self._line(f"S{number(program.spindle)} M3")
        else:
            self._line(f"(MSG, start the spindle at {program.spindle:.0f} rpm, then go on)")
            self._line("M0")
        if program.spins and machine.dwell > 0:
            self._line(f"G4 P{machine.dwell:.1f}")
        self._line(f"G0 X{number(x)} Y{number(y)}")
        self.opening = (up, self.line)
        self._at = (x, y, z)
        self._feed = None
        self._wait = 0.0
        self._stop = ""

    def move(self, move: Move) -> None:
        """One motion line; words that do not change are left out, G never."""
        line = [WORDS[move.motion]]
        x0, y0, z0 = (number(v) for v in self._at)
        arc = move.i is not None
        if arc or number(move.x) != x0:
            line.append(f"X{number(move.x)}")
        if arc or number(move.y) != y0:
            line.append(f"Y{number(move.y)}")
        if number(move.z) != z0:
            line.append(f"Z{number(move.z)}")
        if move.i is not None and move.j is not None:
            line += [f"I{number(move.i)}", f"J{number(move.j)}"]
        self._at = (move.x, move.y, move.z)
        if len(line) == 1:
            return  # shorter than the last digit is no move
        if move.feed is not None and number(move.feed) != self._feed:
            self._feed = number(move.feed)
            line.append(f"F{self._feed}")
        self._waited()
        self._wait, self._stop = move.wait, move.stop
        self._line(" ".join(line))

    def end(self) -> None:
        """Spindle off, end; the last move has already gone up."""
        self._waited()
        if not self._spins:
            pass
        elif self._machine.spindle_by_program:
            self._line("M5")
        else:
            self._line("(MSG, stop the spindle)")
            self._line("M0")
        self._line("M2")

    def _waited(self) -> None:
        """The wait at the end of the last move, written late: the table asks for a move's line."""
        if self._wait > 0:
            self._line(f"G4 P{self._wait:.1f}")
        if self._stop:
            self._line(f"(MSG, {words(self._stop)})")
            self._line("M0")
        self._wait, self._stop = 0.0, ""

    def _line(self, text: str) -> None:
        self.line += 1
        self._write(text + "\n")
