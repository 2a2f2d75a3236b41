"""A set marked as begun: from then on it is not replaced by mistake."""

from __future__ import annotations

from pathlib import Path

from millprep.model.begun import FILE, Begun
from millprep.model.finding import usage
from millprep.report import report_file
from millprep.workflow.set_on_disk import load_mark, save_mark


def begin(folder: Path, blank: int, number: int) -> tuple[Begun, bool]:
    """Mark a pass as begun; the mark, and whether it is new.

    Raises:
        Refusal: exit code 2, when there is no such set or pass, or an earlier pass of the blank is
            not marked.
    """
    source = report_file.read(folder)
    mark = load_mark(folder)
    if mark is not None and mark.set != source.set:
        message = (
            f"{FILE} marks set {mark.set}, and the folder holds set {source.set}. Check which of "
            "them is being cut; delete the file if it was copied here."
        )
        raise usage("begun-another-set", message)
    if (blank, number) not in source.poses:
        known = ", ".join(f"blank {b} pass {k}" for b, k in sorted(source.poses))
        message = f"The set has no blank {blank} pass {number}. It has {known}."
        raise usage("no-such-pass", message)
    done = () if mark is None else mark.passes
    # where a blank was read in a pass, the passes before it are cut
    cut = {(b, k) for b, k in source.poses for c, j in source.readings if b == c and k < j}
    if (blank, number) in done:
        assert mark is not None
        return mark, False
    before = [k for b, k in sorted(source.poses) if b == blank and k < number]
    unmarked = [k for k in before if (blank, k) not in done and (blank, k) not in cut]
    if unmarked:
        message = (
            f"Pass {unmarked[0]} of blank {blank} is cut before pass {number} and is not marked. "
            f"If it has been cut, mark it first with --pass {unmarked[0]}."
        )
        raise usage("begin-order", message)
    passes = (*done, *(pair for pair in cut if pair not in done), (blank, number))
    before_this_set = cut | (frozenset() if mark is None else mark.before)
    mark = Begun(source.set, tuple(sorted(passes)), frozenset(before_this_set))
    save_mark(folder, mark)
    return mark, True
