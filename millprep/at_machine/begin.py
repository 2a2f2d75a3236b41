"""A set marked as begun: from then on it is not replaced by mistake."""

from __future__ import annotations

from pathlib import Path

from millprep.model.begun import FILE, Begun
from millprep.model.finding import usage
from millprep.report import report_file
from millprep.report.report_model import Report
from millprep.workflow.set_on_disk import load_mark, save_mark


def begin(folder: Path, blank: int, number: int) -> tuple[Begun, bool]:
    """Mark a pass as begun; the mark, and whether it is new.

    Raises:
        Refusal: exit code 2, when there is no such set or pass, or an earlier pass of the blank is
            not marked.
    """
    source = report_file.read(folder)
    mark = own_mark(folder, source)
    known_pass(source, blank, number)
    done = () if mark is None else mark.passes
    if (blank, number) in done:
        assert mark is not None
        return mark, False
    cut = _cut(source)
    before = [k for b, k in sorted(source.poses) if b == blank and k < number]
    unmarked = [k for k in before if (blank, k) not in done and (blank, k) not in cut]
    if unmarked:
        message = (
            f"Pass {unmarked[0]} of blank {blank} is cut before pass {number} and is not marked. "
            f"If it has been cut, mark it first with --pass {unmarked[0]}."
        )
        raise usage("begin-order", message)
    return _marked(folder, source, mark, {(blank, number)}), True


def begin_up_to(folder: Path, source: Report, blank: int, number: int) -> None:
    """Mark a pass that has run, and those of its blank before it, which have been cut too.

    Raises:
        Refusal: exit code 2, when the mark is of another set.
    """
    mark = own_mark(folder, source)
    passes = {(b, k) for b, k in source.poses if b == blank and k <= number}
    if mark is None or not passes <= set(mark.passes):
        _marked(folder, source, mark, passes)


def own_mark(folder: Path, source: Report) -> Begun | None:
    """The mark of a set; None where it has none.

    Raises:
        Refusal: exit code 2, when the mark is of another set.
    """
    mark = load_mark(folder)
    if mark is not None and mark.set != source.set:
        message = (
            f"{FILE} marks set {mark.set}, and the folder holds set {source.set}. Check which of "
            "them is being cut; delete the file if it was copied here."
        )
        raise usage("begun-another-set", message)
    return mark


def known_pass(source: Report, blank: int, number: int) -> None:
    """Refuse a pass that the set does not have.

    Raises:
        Refusal: exit code 2.
    """
    if (blank, number) not in source.poses:
        known = ", ".join(f"blank {b} pass {k}" for b, k in sorted(source.poses))
        message = f"The set has no blank {blank} pass {number}. It has {known}."
        raise usage("no-such-pass", message)


def _cut(source: Report) -> set[tuple[int, int]]:
    """The passes before one in which their blank was read: they are cut."""
    return {(b, k) for b, k in source.poses for c, j in source.readings if b == c and k < j}


def _marked(
    folder: Path, source: Report, mark: Begun | None, passes: set[tuple[int, int]]
) -> Begun:
    """The mark with more passes, written."""
    cut = _cut(source)
    done = set() if mark is None else set(mark.passes)
    before = cut | (frozenset() if mark is None else mark.before)
    mark = Begun(source.set, tuple(sorted(done | cut | passes)), frozenset(before))
    save_mark(folder, mark)
    return mark
