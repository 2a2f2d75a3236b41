"""README and guide: every command and every file in them works, and their sentences are short."""

from __future__ import annotations

import json
import re
import shutil
import struct
from pathlib import Path

import pytest

from tests.helpers import house, pages
from tests.helpers.pages import PAGES, Block, blocks, command

MOST_WORDS = 25
"""In a sentence, on average."""


@pytest.fixture(scope="module")
def prepared() -> dict[str, Path]:
    """Sets that pages prepare, by what they are made of: most pages begin with the same."""
    return {}


def run_commands(
    block: Block, folder: Path, prepared: dict[str, Path], request: pytest.FixtureRequest
) -> None:
    expected = int(block.says.get("ends with", "0"))
    for line in pages.lines(block):
        name, *words = line.split()
        assert name == "millprep", line
        if words[0] == "demo":
            # prepared once for all tests
            shutil.copytree(request.getfixturevalue("memory_board"), folder / words[1])
            continue
        if words[0] == "prepare" and words[-2] == "--out":
            made_of = f"{words[:-1]} {pages.contents(folder)}"
            if made_of in prepared:
                shutil.copytree(prepared[made_of], folder / words[-1])
                continue
            prepared[made_of] = folder / words[-1]
        done = command(*words, DISPLAY="", WAYLAND_DISPLAY="")
        assert done.exit_code == expected, f"{line}\n{done.output}"


@pytest.mark.parametrize("page", PAGES)
def test_the_blocks_of_a_page(
    page: str,
    tmp_path: Path,
    prepared: dict[str, Path],
    request: pytest.FixtureRequest,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    for block in blocks(PAGES[page].read_text("utf-8")):
        for name in block.brings:
            pages.bring(tmp_path, name)
        match block.kind:
            case "sh" if "installs" in block.says or "test command" in block.says:
                assert re.search(r"^(pipx install|python3 -m venv) ", block.text)
            case "sh" if "completes" in block.says:
                for shell in re.findall(r"_MILLPREP_COMPLETE=(\w+_source) millprep", block.text):
                    done = command(_MILLPREP_COMPLETE=shell)
                    assert (done.exit_code, "millprep" in done.output) == (0, True)
            case "sh":
                run_commands(block, tmp_path, prepared, request)
            case "toml" | "csv":
                pages.write(tmp_path, block)
            case _:
                named = [line.split()[0] for line in pages.lines(block)]
                assert "files of" in block.says
                assert [name for name in named if not (tmp_path / name).is_file()] == []


def sentences(text: str) -> list[str]:
    """What a page says in sentences: no blocks, tables, headings or remarks."""
    text = re.sub(r"^```.*?^```$|<!--.*?-->", "", text, flags=re.M | re.S)
    text = re.sub(r"!?\[([^]]*)\]\([^)]*\)", r"\1", re.sub(r"`[^`]*`", "code", text))
    kept: list[str] = []
    for paragraph in re.split(r"\n\s*\n|\n(?=- |\d\. )", text):
        if not re.match(r"\s*[#|]", paragraph):
            kept += re.split(r"(?<=[.!?])[*:]*\s+", " ".join(paragraph.split()))
    return [sentence for sentence in kept if re.search(r"\w", sentence)]


def mean_words(text: str) -> float:
    said = sentences(text)
    return sum(len(sentence.split()) for sentence in said) / len(said)


@pytest.mark.parametrize("page", PAGES)
def test_sentences_are_short(page: str) -> None:
    assert mean_words(PAGES[page].read_text("utf-8")) <= MOST_WORDS


@pytest.mark.parametrize(
    "file",
    [*PAGES.values(), *(room / "README.md" for room in pages.EXAMPLES[:2])],
    ids=lambda file: f"{file.parent.name}/{file.stem}",
)
def test_no_page_has_a_word_that_was_left_behind(file: Path) -> None:
    text = re.sub(r"^```.*?^```$|`[^`]*`", "", file.read_text("utf-8"), flags=re.M | re.S)
    assert house.TEXTS_LEFT.findall(text) == []


def test_words_are_counted() -> None:
    text = "# A title\n\nOne two `a b c`. Three\nfour five!\n\n```sh\nx y\n```\n- **Six.** Seven."
    assert sentences(text) == ["One two code.", "Three four five!", "- **Six.", "Seven."]
    assert mean_words(text) == (3 + 3 + 2 + 1) / 4


@pytest.mark.parametrize("page", PAGES)
def test_links_lead_somewhere(page: str) -> None:
    file = PAGES[page]
    for target, heading in re.findall(r"\]\(([^)#]*)(?:#([^)]*))?\)", file.read_text("utf-8")):
        there = file.parent / target if target else file
        assert there.exists(), target
        headings = re.findall(r"^#+ (.*)$", there.read_text("utf-8"), re.M) if heading else []
        assert heading in ["", *(each.lower().replace(" ", "-") for each in headings)]


def test_the_readme_is_short_and_names_every_page_and_test() -> None:
    readme = PAGES["README"].read_text("utf-8")
    assert len(readme.encode()) <= 9000
    for name in PAGES:
        assert name == "README" or f"(millprep/guide/{name}.md)" in readme
    tests = re.findall(r"`(tests/[\w/]+\.py)`", PAGES["promises"].read_text("utf-8"))
    assert len(tests) > 5
    assert [test for test in tests if not (pages.ROOT / test).is_file()] == []


def test_every_line_for_windows_is_that_of_the_other_systems() -> None:
    readme = PAGES["README"].read_text("utf-8")
    lines = re.findall(r"^On Windows: `(.*?)`", readme, re.M)
    assert len(lines) == 2
    for line in lines:
        other = line.replace("\\", "/").replace("Scripts", "bin").replace('"', "'")
        assert re.sub(r"^py ", "python3 ", other) in readme


@pytest.mark.parametrize("name", ["review", "plan"])
def test_the_pictures_are_small(name: str) -> None:
    data = (pages.ROOT / "examples" / "pictures" / f"{name}.png").read_bytes()
    assert f"(examples/pictures/{name}.png)" in PAGES["README"].read_text("utf-8")
    width, height = struct.unpack(">II", data[16:24])
    assert min(width, height) >= 600
    assert len(data) < 200_000


def test_the_keys_of_the_report_that_a_page_names_are_there(memory_board: Path) -> None:
    rows = re.findall(r"^\| (`\w+`.*?) \|", PAGES["what-comes-out"].read_text("utf-8"), re.M)
    named = {key for row in rows for key in re.findall(r"`(\w+)`", row)}
    assert {"set", "passes", "machine_seconds"} <= named
    assert named <= set(json.loads((memory_board / "report.json").read_text("utf-8")))
