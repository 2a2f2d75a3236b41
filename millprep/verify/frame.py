"""What stands around a program: line ends, percent lines, the word that ends it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from millprep.model.dialect import Dialect
from millprep.verify.block import DIFFERS, Fault


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
    told = [(n, line.strip()) for n, line in enumerate(lines, 1) if line.strip()]
    if ended != dialect.end:
        yield last, Fault(f"{ended} ends the program, {dialect.end} is to", code=DIFFERS)
    rest = [(n, line) for n, line in told if n > last]
    opened = told[0][1] == "%"
    if opened != dialect.percent:
        words = "a percent line, and there is to be none"
        yield told[0][0], Fault("no percent line" if dialect.percent else words, code=DIFFERS)
    closed = [line for _, line in rest] == ["%"]
    if dialect.percent and not closed:
        yield told[-1][0], Fault("the last line is no percent line", code=DIFFERS)
    if not dialect.percent and rest and dialect.end == ended:
        yield rest[0][0], Fault(f"a line stands after {ended}", code=DIFFERS)
