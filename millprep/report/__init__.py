"""What a person reads of a set: report.json, the sheet, the pictures."""

from __future__ import annotations

from pathlib import Path

from millprep.model.set_of_programs import CutSet

__all__ = ["draw", "write", "write_refused"]


def draw(cut_set: CutSet, folder: Path, which: slice = slice(None)) -> None:
    """Draw the pictures of a set into its folder: all of them, or `which`."""
    # here and below: whoever wants words alone shall not wait for page and pictures
    from millprep.report import pictures

    pictures.draw(cut_set, folder / pictures.FOLDER, which)


def write(cut_set: CutSet, folder: Path) -> None:
    """Write sheet.html and report.json of a finished set into `folder`, its pictures drawn."""
    from millprep.report import buzz_out, report_file
    from millprep.report.report_model import Report
    from millprep.report.sheet import sheet
    from millprep.report.svg import write_as_cut

    folder.mkdir(parents=True, exist_ok=True)
    _put(folder / "sheet.html", sheet(cut_set))
    if not cut_set.resumed:
        # what goes on after a break leaves no finished board to measure
        _put(folder / buzz_out.FILE, buzz_out.table_text(cut_set))
    write_as_cut(cut_set, folder)
    # last of all: it holds the hashes of every other file, programs included
    report_file.write_sealed(Report.of(cut_set), folder)


def write_refused(cut_set: CutSet, folder: Path, seen: CutSet | None = None) -> None:
    """Write what explains a refusal: report.json, the page, findings.txt, pictures; no program.

    `seen` is the same set with drawings that were refused, which the page shows as they are.
    """
    from millprep.report import report_file
    from millprep.report.report_model import Report
    from millprep.report.sheet import findings_text, sheet

    folder.mkdir(parents=True, exist_ok=True)
    page = sheet(cut_set if seen is None else seen, refused=True, unread=seen is not None)
    _put(folder / "review.html", page)
    report_file.write(Report.of(cut_set), folder)
    _put(folder / "findings.txt", findings_text(cut_set))
    draw(cut_set, folder)


def _put(file: Path, text: str) -> None:
    # a file name of the system may hold bytes that are no characters; UTF-8 refuses those
    file.write_bytes(text.encode("utf-8", errors="replace"))
