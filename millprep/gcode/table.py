"""All motion as one CSV table, machine frame, absolute on every row."""

from __future__ import annotations

from collections.abc import Callable

from millprep.gcode.rs274 import TextSink
from millprep.gcode.sink import number
from millprep.model.program import Move, Program

HEADER = "blank,pass,program,line,motion,x,y,z,i,j,feed\n"


class TableSink:
    """Writes the rows of one program; the first is its start.

    Args:
        write: takes one row at a time, line feed included.
        text: the text of the same program, run just before this sink; rows carry its lines.
    """

    def __init__(self, write: Callable[[str], object], text: TextSink) -> None:
        self._write = write
        self._text = text
        self._prefix = ""

    def begin(self, program: Program) -> None:
        """The start row, then the two motions of the program's head.

        Of a later program in its file the start is the motion up to where its cutter is put in.
        """
        file = program.file.rsplit("/", 1)[-1]
        self._prefix = f"{program.blank},{program.mill_pass},{file}"
        x, y, _ = program.start
        for line, z in self._text.opening:
            self._row(Move("rapid", x, y, z), line)

    def move(self, move: Move) -> None:
        """A row for every move that has a line."""
        if self._text.told:
            self._row(move, self._text.line)

    def end(self) -> None:
        """Nothing more."""

    def _row(self, move: Move, line: int) -> None:
        values = (
            # a touch is a feed to where it would end had it met nothing
            "feed" if move.motion == "probe" else move.motion,
            number(move.x),
            number(move.y),
            number(move.z),
            "" if move.i is None else number(move.i),
            "" if move.j is None else number(move.j),
            "" if move.feed is None else number(move.feed),
        )
        self._write(f"{self._prefix},{line},{','.join(values)}\n")
