"""Whether a line is spelt as the machine's dialect asks."""

from __future__ import annotations

import re

from millprep.model.dialect import Comments, Dialect
from millprep.verify.block import DIFFERS, Block, Fault
from millprep.verify.modal import ARCS, CYCLES, spelt


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
                raise Fault(f"{spelt(code)}: an arc, and there are to be none", code=DIFFERS)
            if code in CYCLES and not dialect.cycles:
                words = f"{spelt(code)}: a drilling cycle, and there are to be none"
                raise Fault(words, code=DIFFERS)
        if self._long.search(block.text):
            words = f"a number has more than the {dialect.decimals} decimals that are to be"
            raise Fault(words, code=DIFFERS)
        if not dialect.line_numbers and block.number is not None:
            raise Fault(f"N{block.number}: a line number, and there are to be none", code=DIFFERS)
        if dialect.line_numbers and block.number != line:
            found = "no line number" if block.number is None else f"N{block.number}"
            raise Fault(f"{found} in line {line}, whose number is to stand there", code=DIFFERS)
