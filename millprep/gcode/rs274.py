"""Programs as RS-274 text (NISTIR 6556): G0 to G3, dwells, and G38.2 where holes are touched.

Every motion line carries its G word, every number a decimal point; no lines over 200 characters.
The machine's dialect says how it is spelt; canned cycles are used only where it asks for them.
There is one protocol for all that is made of a program: it runs itself onto any sink.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from functools import lru_cache
from typing import Protocol

from millprep.gcode.head import comment_text, describe, first_moves, head, last_move
from millprep.model.machine import Machine
from millprep.model.program import Cycle, Move, Program, SecondTouch

WORDS = {"rapid": "G0", "feed": "G1", "arc_cw": "G2", "arc_ccw": "G3", "probe": "G38.2"}
STATE = "G21 G90 G17 G94 G40 G49 G80 G54"
"""All modes that a program relies on; written after a person's own lines, so it overrides them."""


class TextSink:
    """Writes one file through a `write` callable: a program, or several, cutter after cutter.

    Args:
        write: takes one line at a time, line end included.
        set_id: the set's id, written into the head.
        job: name of the job.
        machine: how its spindle is switched, and what it understands.
        parts: how many programs the file is to hold.
        numbers: T of every cutter by its name, for a machine that changes them.

    Attributes:
        line: number of the line written last, from 1.
        part: which of the file's programs is written, from 1.
        opening: the first moves of the program, up and down for a look, each with its line.
        closing: the last one, up, with its line; None where the program ends there already.
        written: whether the last motion has a line in the file; one shorter than the last digit
            has none.
    """

    def __init__(
        self,
        write: Callable[[str], object],
        set_id: str,
        job: str,
        machine: Machine,
        parts: int = 1,
        numbers: Mapping[str, int] | None = None,
    ) -> None:
        self._write = write
        self._parts = parts
        self.part = 0
        self._numbers = numbers or {}
        self._set_id = set_id
        self._job = job
        self._machine = machine
        self._dialect = machine.dialect
        self._ending = "\r\n" if machine.dialect.line_ends == "crlf" else "\n"
        self._cycle: Cycle | None = None
        self._points = 0
        self._across = False
        self.line = 0
        # a program that begins sets them
        self._at: tuple[float, float, float]
        self._feed: str | None
        self._wait: float
        self._stop: str
        self._spins: bool
        self.written: bool
        self.opening: list[tuple[int, Move]]
        self.closing: tuple[int, Move] | None

    def begin(self, program: Program) -> None:
        """Head: what the file is, which cutter, zero, spindle."""
        machine = self._machine
        self.part += 1
        first = self.part == 1
        if first and self._dialect.percent:
            self.line += 1
            self._write(f"%{self._ending}")
        place = (self.part, self._parts)
        if first:
            self._comment(f"job {self._job}, set {self._set_id}")
        for line in head(program, self._machine, place, self._number):
            self._comment(line)
        for line in self._dialect.start_lines if first else ():
            self._line(line)
        if first:
            self._modes()
        if self._changes or not first:
            self._change(program)
            # a person may have done anything meanwhile
            self._modes()
        if not program.spins:
            self._comment("the spindle stays off")
        if machine.spindle_by_program:
            # a person is about to look at the tip from near
            self._line("M5")
        self._open(program)
        self._spins = program.spins
        if not program.spins:
            return
        if machine.spindle_by_program:
            self._line(f"S{self._number(program.spindle)} M3")
        else:
            self._stopped(f"start the spindle at {program.spindle:.0f} rpm, then go on")
        if machine.dwell > 0:
            self._dwell(machine.dwell)

    def _modes(self) -> None:
        """The lines that set all modes."""
        self._line(STATE)
        if self._machine.path_words is not None:
            self._line(self._machine.path_words)

    def _open(self, program: Program) -> None:
        """The first moves, from wherever the machine is."""
        up, *others = first_moves(program, self._machine)
        self._spins = False
        self._feed = None
        self._wait, self._stop = 0.0, ""
        # every word that is needed is said, and of the first move no other
        self._at = (up.x, up.y, -math.inf)
        self.move(up)
        self.opening = [(self.line, up)]
        self._at = (math.inf, math.inf, up.z)
        for move in others:
            self.move(move)
            if self.written:
                self.opening.append((self.line, move))
        # a person looks before the spindle starts, though no line may lead up from the look
        self._wait_and_stop()
        # the first cut says its own
        self._feed = None
        self._across = False

    @property
    def _changes(self) -> bool:
        """Whether the machine puts cutters in by itself."""
        return self._machine.tool_change == "changer"

    def _change(self, program: Program) -> None:
        """Another cutter comes in, and a person zeroes Z with it: its length is not known."""
        cutter = program.cutter
        x, y, _ = program.start
        name = cutter.name
        if self._changes:
            self._line(f"T{self._numbers[name]} M6")
            name += f", T{self._numbers[name]}"
        self._stopped(
            f"change to {name}: {describe(cutter)}. Set Z zero with it on {program.zero_on} at "
            f"X{self._number(x)} Y{self._number(y)}, then go on"
        )

    def move(self, move: Move) -> None:
        """One motion line; words that do not change are left out, G never."""
        if move.cycle is not None:
            self._drill(move.cycle)
            self._at = (move.x, move.y, move.z)
            return
        line = [WORDS[move.motion]]
        # most of the time of writing goes into these numbers
        decimals, (x_before, y_before, z_before) = self._dialect.decimals, self._at
        x, y = number(move.x, decimals), number(move.y, decimals)
        z = number(move.z, decimals)
        arc = move.i is not None
        if arc or x != number(x_before, decimals):
            line.append(f"X{x}")
        if arc or y != number(y_before, decimals):
            line.append(f"Y{y}")
        if z != number(z_before, decimals):
            line.append(f"Z{z}")
        if move.i is not None and move.j is not None:
            line += [f"I{self._number(move.i)}", f"J{self._number(move.j)}"]
        self._at = (move.x, move.y, move.z)
        self.written = len(line) > 1
        if not self.written:
            return  # shorter than the last digit is no move
        if move.feed is not None:
            line += self._new_feed(move.feed)
        self._before_motion()
        self._wait, self._stop = move.wait, move.stop
        if move.motion == "rapid" and (line[1][0] != "Z" or move.z > z_before):
            self._across |= line[1][0] != "Z"
        else:
            self._restart_point()
        self._line(" ".join(line))
        if move.again is not None:
            self._touch_again(move.again)

    def _touch_again(self, again: SecondTouch) -> None:
        """From where the tip touched, which only the machine knows."""
        back = self._number(again.back)
        self._line("G91")
        self._line(f"G0 Z{back}")
        down = ["G38.2", f"Z{self._number(-2 * again.back)}", *self._new_feed(again.feed)]
        self._line(" ".join(down))
        self._line("G90")

    def end(self) -> None:
        """Up to the top, spindle off, end."""
        self._spins, spun = False, self._spins
        last = last_move(self._at, self._machine)
        self.move(last)
        self.closing = (self.line, last) if self.written else None
        self._before_motion()
        if not spun:
            pass
        elif self._machine.spindle_by_program:
            self._line("M5")
        else:
            self._stopped("stop the spindle")
        if self.part < self._parts:
            return
        for line in self._dialect.end_lines:
            self._line(line)
        self._line(self._dialect.end)
        if self._dialect.percent:
            self.line += 1
            self._write(f"%{self._ending}")

    def _drill(self, cycle: Cycle) -> None:
        """One line for all motions of a cycle; every word in it, so that it needs no other."""
        self.written = True
        if cycle == self._cycle:
            return
        self._wait_and_stop()
        self._cycle = cycle
        # the line itself begins with the way across
        self._across = True
        self._restart_point()
        x, y, z, r, peck, feed, _ = cycle
        # G98 goes back to the height before the cycle, that of travel
        line = ["G98", "G83" if peck > 0 else "G81"]
        line += [f"{word}{self._number(v)}" for word, v in (("X", x), ("Y", y), ("Z", z), ("R", r))]
        if peck > 0:
            line.append(f"Q{self._number(peck)}")
        self._line(" ".join([*line, *self._new_feed(feed)]))

    def _restart_point(self) -> None:
        """Number a cut that the cutter came across to: after a break it may begin anew there.

        Readers of the program count such cuts, whether or not it holds these comments.
        """
        if self._across and self._spins:
            self._points += 1
            self._comment(f"restart point {self._points}")
        self._across = False

    def _new_feed(self, feed: float) -> list[str]:
        """The F word, if it says something new."""
        said = self._number(feed)
        if said == self._feed:
            return []
        self._feed = said
        return [f"F{said}"]

    def _before_motion(self) -> None:
        """What belongs between the line before and the next one."""
        self._wait_and_stop()
        if self._cycle is not None:
            self._line("G80")
            self._cycle = None

    def _wait_and_stop(self) -> None:
        """The wait at the end of the last move, late, for the table's sake."""
        if self._wait > 0:
            self._dwell(self._wait)
        if self._stop:
            self._stopped(self._stop)
        self._wait, self._stop = 0.0, ""

    def _dwell(self, seconds: float) -> None:
        in_ms = self._dialect.dwell_unit == "ms"
        self._line(f"G4 P{seconds * 1000 if in_ms else seconds:.1f}")

    def _stopped(self, text: str) -> None:
        """Text on the display, then a stop. By NISTIR 6556 only brackets hold messages."""
        self._comment(f"MSG, {text}" if self._dialect.comments == "brackets" else text)
        self._line("M0")

    def _comment(self, text: str) -> None:
        if self._dialect.comments == "brackets":
            self._line(f"({comment_text(text)})")
        elif self._dialect.comments == "semicolon":
            self._line(f"; {comment_text(text)}")

    def _number(self, value: float) -> str:
        return number(value, self._dialect.decimals)

    def _line(self, text: str) -> None:
        self.line += 1
        counted = f"N{self.line} " if self._dialect.line_numbers else ""
        self._write(counted + text + self._ending)


class Sink(Protocol):
    """What takes a program, move by move.

    `begin` once, then `move` for every motion in order, then `end` once.
    """

    def begin(self, program: Program) -> None:
        """A program starts."""

    def move(self, move: Move) -> None:
        """The next motion."""

    def end(self) -> None:
        """The program is over."""


def run(program: Program, *sinks: Sink) -> None:
    """Run a program onto any number of sinks at once."""
    for sink in sinks:
        sink.begin(program)
    for move in program.moves:
        for sink in sinks:
            sink.move(move)
    for sink in sinks:
        sink.end()


@lru_cache(maxsize=4096)
def number(value: float, decimals: int = 4) -> str:
    """So many decimals, always with a point, never a negative zero.

    Remembered, because a place is spelt where a move ends and where the next begins, and in the
    table once more.
    """
    text = f"{value:.{decimals}f}"
    return text if text[0] != "-" or float(text) != 0 else text[1:]
