from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

from millprep.report import draw, write, write_refused
from tests.helpers.invented_set import invented, refused


def files(folder: Path) -> dict[str, bytes]:
    return {
        file.relative_to(folder).as_posix(): file.read_bytes()
        for file in sorted(folder.rglob("*"))
        if file.is_file()
    }


def test_a_set_is_written_twice_with_the_same_bytes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        draw(invented(1), tmp_path / name)
        write(invented(1), tmp_path / name)
    first = files(tmp_path / "a")
    assert first == files(tmp_path / "b")
    assert {"report.json", "sheet.html", "previews/blank-1-pass-1.png"} <= set(first)
    assert first["report.json"].endswith(b"}\n")
    assert b"\r" not in first["report.json"]
    assert "previews/close-up-1.png" in first
    assert b"previews/" not in first["sheet.html"]


def test_a_refusal_is_explained_and_holds_no_program(tmp_path: Path) -> None:
    write_refused(refused(), tmp_path / "out-refused")
    made = files(tmp_path / "out-refused")
    assert json.loads(made["report.json"])["findings"][0]["severity"] == "stop"
    assert b"Move them apart." in made["findings.txt"]
    assert "previews/blank-1-copper.svg" in made
    page = made["review.html"].decode()
    assert "Refused: no program was written" in page
    assert "Move them apart." in page
    assert "Run in this order" not in page
    assert {Path(name).suffix for name in made} == {".json", ".txt", ".html", ".png", ".svg"}


def test_a_refusal_before_any_layout_still_says_why(tmp_path: Path) -> None:
    write_refused(replace(refused(), blanks=()), tmp_path)
    made = files(tmp_path)
    assert set(made) == {"report.json", "findings.txt", "review.html"}
    assert b'id="review" hidden' in made["review.html"]


def test_a_name_that_is_no_text_does_not_stop_the_report(tmp_path: Path) -> None:
    write_refused(replace(refused(), job="lamp \udcff"), tmp_path)
    assert json.loads((tmp_path / "report.json").read_bytes())["job"] == "lamp ?"
