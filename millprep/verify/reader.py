"""An RS-274 reader by NISTIR 6556 (Kramer, Proctor, Messina, 2000).

It shares nothing with the writer. It finds what a controller would do with a file, or why a
controller would refuse it.

Within a line the words take effect in the order of table 8, however they are written. Words that
the report allows but whose effect is not in the file (offsets, other planes, expressions) are
refused as well: what cannot be known cannot be proved.

With a dialect, the file is read as that machine reads it, and whatever contradicts the dialect is
refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from millprep.model.dialect import Comments, Dialect
from millprep.model.finding import NOT_RUN, Finding, Refusal
from millprep.verify.block import (
    ARCS,
    CYCLES,
    DIFFERS,
    MODES,
    Block,
    Fault,
    check_characters,
    check_letters,
    grouped_g,
    grouped_m,
    parse,
    spelt,
    whole,
)
from millprep.verify.cutter_changes import requested_cutter
from millprep.verify.machine_state import UNKNOWN, MachineState
from millprep.verify.trace import (
    ModeEvent,
    PathEvent,
    Remark,
    SpindleEvent,
    Stop,
    ToolChange,
    Trace,
)

MOST_FINDINGS = 50
_INCH = 25.4


def frame_faults(
    lines: Sequence[str], dialect: Dialect, ended: str, last: int
) -> Iterator[tuple[int, Fault]]:
    """What of this a dialect does not have, each with its line.

    Args:
        lines: of the file, without line feeds.
        dialect: of the machine.
        ended: the word that ended the program.
        last: its line, from 1.
    """
    returns = dialect.line_ends == "crlf"
    for number, line in enumerate(lines, 1):
        # what follows the last line end is no line
        if line.endswith("\r") != returns and (line or number < len(lines)):
            words = "the line does not end with" if returns else "the line ends with"
            yield number, Fault(f"{words} a carriage return", code=DIFFERS)
            break
    filled = [(n, line.strip()) for n, line in enumerate(lines, 1) if line.strip()]
    if ended != dialect.end:
        yield last, Fault(f"{ended} ends the program, it should be {dialect.end}", code=DIFFERS)
    rest = [(n, line) for n, line in filled if n > last]
    opened = filled[0][1] == "%"
    if opened != dialect.percent:
        words = "a percent line, which the dialect does not have"
        yield filled[0][0], Fault("no percent line" if dialect.percent else words, code=DIFFERS)
    closed = [line for _, line in rest] == ["%"]
    if dialect.percent and not closed:
        yield filled[-1][0], Fault("the last line is not a percent line", code=DIFFERS)
    if not dialect.percent and rest and dialect.end == ended:
        yield rest[0][0], Fault(f"a line follows {ended}", code=DIFFERS)


class Spelling:
    """The dialect as a judge of lines; without one, every line of the report will do."""

    def __init__(self, dialect: Dialect | None) -> None:
        self.comments: Comments = "brackets" if dialect is None else dialect.comments
        self._dialect = dialect
        digits = 0 if dialect is None else dialect.decimals + 1
        self._long = re.compile(rf"\.\d{{{digits},}}", re.ASCII)

    def check(self, block: Block, line: int) -> None:
        """Judge the words of one line.

        Raises:
            Fault: for the first thing that the dialect does not have.
        """
        dialect = self._dialect
        if dialect is None:
            return
        for code in block.g:
            if code in ARCS and not dialect.arcs:
                raise Fault(f"{spelt(code)}: an arc, which the dialect does not have", code=DIFFERS)
            if code in CYCLES and not dialect.cycles:
                words = f"{spelt(code)}: a drilling cycle, which the dialect does not have"
                raise Fault(words, code=DIFFERS)
        if self._long.search(block.text):
            words = f"a number has more than {dialect.decimals} decimals"
            raise Fault(words, code=DIFFERS)
        if not dialect.line_numbers and block.number is not None:
            raise Fault(
                f"N{block.number}: a line number, which the dialect does not have", code=DIFFERS
            )
        if dialect.line_numbers and block.number != line:
            shown = "no line number" if block.number is None else f"N{block.number}"
            raise Fault(f"{shown} in line {line}, it should be N{line}", code=DIFFERS)


def read(text: str, *, file: str, dialect: Dialect | None = None) -> Trace:
    """What the program in `text` does.

    `file` is only named in findings. Places are unknown (nan) until a word sets them; the
    unit must be said before the first length. `text` has its line ends as they are in the file.
    Without a `dialect` all is read as the report has it.

    Raises:
        Refusal: with every fault of the file, each with its line.
    """
    return _Reader(file, dialect).run(text)


class _Reader:
    """The state of the machine while a file is read."""

    def __init__(self, file: str, dialect: Dialect | None) -> None:
        self.file = file
        self.dialect = dialect
        self.spelling = Spelling(dialect)
        self.faults: list[Finding] = []
        in_ms = dialect is not None and dialect.dwell_unit == "ms"
        self.state = MachineState(0.001 if in_ms else 1.0)
        self.rpm = 0.0
        self.tool = 0
        self.spindle: list[SpindleEvent] = []
        self.stops: list[Stop] = []
        self.changes: list[ToolChange] = []
        self.remarks: list[Remark] = []
        self.paths: list[PathEvent] = []
        self.modes: list[ModeEvent] = []
        self.deletable: list[int] = []
        self.ended: str | None = None
        self.last_line = 0
        self.words_above = ""
        self.line = 0

    def run(self, text: str) -> Trace:
        lines = text.split("\n")
        percent = False
        first = True
        for self.line, raw in enumerate(lines, 1):
            raw = raw.removesuffix("\r")
            bare = raw.strip(" \t")
            if not bare:
                continue
            if bare == "%":
                if first:
                    percent, first = True, False
                    continue
                if percent:
                    self._end("%")
                    break
            first = False
            try:
                self._read(raw)
            except Fault as fault:
                self._refuse(fault)
            if self.ended or len(self.faults) >= MOST_FINDINGS:
                break
        if not self.ended and len(self.faults) < MOST_FINDINGS:
            self.line = len(lines)
            self._refuse(
                Fault(
                    "the file has an opening percent line and no closing one"
                    if percent
                    else "the file ends without M2, M30 or percent lines: it may be cut short"
                )
            )
        if self.dialect is not None and self.ended:
            for where, odd in frame_faults(lines, self.dialect, self.ended, self.last_line):
                self.line = where
                self._refuse(odd)
        if self.faults:
            raise Refusal(self.faults)
        state = self.state
        return Trace(
            file=self.file,
            moves=tuple(state.moves),
            spindle=tuple(self.spindle),
            dwells=tuple(state.dwells),
            stops=tuple(self.stops),
            tool_changes=tuple(self.changes),
            ended=self.ended,  # type: ignore[arg-type]
            last_line=self.last_line,
            deletable=tuple(self.deletable),
            assumed=tuple(sorted(state.relied.values())),
            cycles=tuple(state.cycles),
            remarks=tuple(self.remarks),
            paths=tuple(self.paths),
            modes=tuple(self.modes),
        )

    def _read(self, raw: str) -> None:
        """One line that is neither empty nor a percent line."""
        check_characters(raw)
        block = parse(raw, self.spelling.comments)
        if not (block.g or block.m or block.words or block.deletable):
            if block.comment:
                self.remarks.append(Remark(len(self.state.moves), self.line, block.comment))
            self.words_above = block.comment or self.words_above
            return
        self.spelling.check(block, self.line)
        self._carry_out(block)
        self.words_above = ""

    def _refuse(self, fault: Fault) -> None:
        remedy = (
            f"This contradicts [machine.dialect]. {NOT_RUN}" if fault.code == DIFFERS else NOT_RUN
        )
        self.faults.append(
            Finding(
                code=fault.code,
                severity="stop",
                message=f"{fault.message}. {remedy}",
                file=self.file,
                line=self.line,
            )
        )

    def _end(self, word: str) -> None:
        self.ended, self.last_line = word, self.line

    # One line, in the order of table 8.

    def _carry_out(self, block: Block) -> None:
        state = self.state
        g = grouped_g(block.g)
        m = grouped_m(block.m)
        if block.deletable:
            self.deletable.append(self.line)
        motion, axes = state.motion_of(block, g)
        path = g.get("path")
        # the report has no P with G64
        taking = path if self.dialect is not None else None
        check_letters(block.words, {motion, g.get("non-modal"), taking})
        before = len(state.moves)
        w = block.words
        self._units(g, w)
        if path is not None:
            tolerance = w["P"] * state.mm("P") if path == 640 and "P" in w else None
            self.paths.append(PathEvent(before, self.line, path, tolerance))
        if len(g) > ("motion" in g):
            self.modes += [ModeEvent(before, self.line, g[group]) for group in MODES if group in g]
        if (feed := w.get("F")) is not None:
            if feed < 0:
                raise Fault("a negative feed")
            state.feed = feed * state.mm("F")
        if (rpm := w.get("S")) is not None:
            if rpm < 0:
                raise Fault("a negative spindle speed")
            self._speed(rpm, before)
        if (tool := w.get("T")) is not None:
            self.tool = whole(tool, "T")
        if "tool change" in m:
            # 3.6.3: the spindle is off when the tool has been changed.
            self.changes.append(ToolChange(before, self.line, self.tool))
            self._turn(5, before)
        if "spindle" in m:
            self._turn(m["spindle"], before)
        if g.get("non-modal") == 40:
            if "P" not in w or w["P"] < 0:
                raise Fault("G4 needs P, seconds of 0 or more")
            state.wait(w["P"], self.line)
        state.set_modal(g)
        if axes and motion is not None:
            state.move(motion, block, self.line)
        stopping = m.get("stopping")
        if stopping in (0, 1):
            words = block.comment or self.words_above
            self.stops.append(Stop(len(state.moves), self.line, stopping == 1, words))
            if requested_cutter(words):
                # a person puts another cutter in, and zeroes Z with it
                state.at = UNKNOWN
        elif stopping is not None:
            self._end(f"M{stopping}")

    def _units(self, g: dict[str, int], w: dict[str, float]) -> None:
        if "units" not in g:
            return
        unit = _INCH if g["units"] == 200 else 1.0
        if self.state.unit not in (None, unit) and "F" in w:
            # By table 8 this F is still in the old unit; controllers differ.
            raise Fault("F is in the line that changes the unit", standard=False)
        self.state.unit = unit

    def _speed(self, rpm: float, before: int) -> None:
        turning = self.spindle and self.spindle[-1].on
        self.rpm = rpm
        if turning:
            last = self.spindle[-1]
            self.spindle.append(last._replace(before=before, line=self.line, rpm=rpm))

    def _turn(self, m: int, before: int) -> None:
        on = m != 5
        self.spindle.append(SpindleEvent(before, self.line, on, m != 4, self.rpm if on else 0.0))
