"""Inputs that never end, nest too deep or are no text; consoles that are full, closed or poor."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from millprep.cli.main import commands
from tests.helpers import small_job
from tests.helpers.sets import START


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a small job and its set."""
    folder = tmp_path_factory.mktemp("bench")
    job = small_job.put(folder)
    assert run("prepare", job, "-o", folder / "set").exit_code == 0
    return folder


def run(*words: str | Path) -> Result:
    """The command line in this process."""
    return CliRunner().invoke(commands, [str(word) for word in words])


def started(
    *words: str | Path, environment: dict[str, str] | None = None, **streams: object
) -> subprocess.CompletedProcess[bytes]:
    """The command line in a process of its own."""
    given = [sys.executable, "-c", START, *map(str, words)]
    env = {**os.environ, **(environment or {})}
    return subprocess.run(given, check=False, timeout=120, env=env, **streams)  # type: ignore[call-overload,no-any-return]


TAKERS = {
    "drawing": ("inspect", "FILE"),
    "drawing of new": ("new", "FILE"),
    "job": ("check", "FILE"),
    "job of prepare": ("prepare", "FILE", "-o", "NEW"),
    "layout": ("prepare", "JOB", "--layout", "FILE", "-o", "NEW"),
    "bench": ("new", "DRAWING", "--bench", "FILE"),
    "readings": ("refit", "SET", "FILE", "--pass", "1", "-o", "NEW"),
    "map": ("level", "SET", "FILE", "--pass", "1", "-o", "NEW"),
    "kept job": ("verify", "SET", "--job", "FILE"),
}
"""A command that takes each kind of input."""


def given(bench: Path, taker: str, file: Path) -> list[str]:
    """The words of a command with the file in its place."""
    places = {
        "FILE": file,
        "JOB": bench / "job.toml",
        "DRAWING": bench / "lamp.dxf",
        "SET": bench / "set",
        "NEW": file.parent / "new",
    }
    return [str(places.get(word, word)) for word in TAKERS[taker]]


def pipe(file: Path) -> None:
    if not hasattr(os, "mkfifo"):
        pytest.skip("this system has no named pipes")
    os.mkfifo(file)


def endless(file: Path) -> None:
    if not Path("/dev/zero").exists():
        pytest.skip("this system has no endless device")
    file.symlink_to("/dev/zero")


def deep_lists(file: Path) -> None:
    file.write_text("a = " + "[" * 100_000 + "]" * 100_000, "utf-8")


def deep_keys(file: Path) -> None:
    file.write_text(".".join("a" * 20_000) + " = 1\n", "utf-8")


def huge(file: Path) -> None:
    file.write_text("".join(f"a{n} = 1\n" for n in range(2_000_000)), "utf-8")


def no_text(file: Path) -> None:
    file.write_bytes(bytes(range(256)) * 100)


@pytest.mark.parametrize("taker", TAKERS)
@pytest.mark.parametrize(
    "make", [pipe, endless, deep_lists, deep_keys, huge, no_text], ids=lambda make: make.__name__
)
def test_no_input_ends_in_a_fault_of_ours(bench: Path, tmp_path: Path, make, taker) -> None:  # type: ignore[no-untyped-def]
    file = tmp_path / "input"
    make(file)
    result = run(*given(bench, taker, file))
    assert isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (2, 3)
    said = [line for line in result.stderr.splitlines() if line.startswith("stop:")]
    assert said
    assert all(len(line) < 500 for line in said)
    if make in (pipe, endless):
        assert "It is a pipe or a device, not a file" in said[0]
    assert not (tmp_path / "new").exists()


def test_the_root_of_a_disk_is_no_place_for_a_set(bench: Path) -> None:
    result = run("prepare", bench / "job.toml", "-o", "/")
    assert result.exit_code == 2
    assert "/ is the whole disk. Name a new folder in it" in result.stderr


@pytest.fixture(scope="module")
def full() -> Iterator[int]:
    if not Path("/dev/full").exists():
        pytest.skip("this system has no device that is always full")
    number = os.open("/dev/full", os.O_WRONLY)
    yield number
    os.close(number)


@pytest.mark.parametrize("words", [("schema",), ("--help",), ("inspect", "DRAWING")])
def test_a_full_disk_behind_the_output_is_no_fault_of_ours(
    bench: Path, full: int, words: tuple[str, ...]
) -> None:
    words = tuple(str(bench / "lamp.dxf") if word == "DRAWING" else word for word in words)
    done = started(*words, stdout=full, stderr=subprocess.PIPE)
    assert done.returncode == 1
    assert done.stderr.decode().splitlines()[-1] == (
        "what millprep prints cannot be written (No space left on device). Make room, then try "
        "again."
    )


def test_a_reader_that_goes_away_is_no_fault_of_ours() -> None:
    away, out = os.pipe()
    os.close(away)
    try:
        done = started("schema", stdout=out, stderr=subprocess.PIPE)
    finally:
        os.close(out)
    assert done.returncode == 1
    assert b"Traceback" not in done.stderr


@pytest.mark.skipif(sys.platform == "win32", reason="streams are closed by a shell of Unix")
def test_closed_streams_spoil_no_file(bench: Path, tmp_path: Path) -> None:
    words = [sys.executable, "-c", START, "prepare", str(bench / "job.toml"), "-o", "set"]
    shell = ["sh", "-c", 'exec "$@" <&- >&- 2>&-', "sh", *words]
    assert subprocess.run(shell, cwd=tmp_path, check=False, timeout=120).returncode == 0
    assert run("verify", tmp_path / "set").exit_code == 0


def test_a_console_that_lacks_letters_shows_the_text_all_the_same() -> None:
    done = started(
        "guide", "cutters", environment={"PYTHONIOENCODING": "latin-1"}, capture_output=True
    )
    assert done.returncode == 0
    assert b"\\u03c0" in done.stdout


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names are Unicode there")
def test_names_may_hold_bytes_that_are_no_text(bench: Path, tmp_path: Path) -> None:
    folder = os.fsencode(tmp_path) + b"/\xff"
    os.mkdir(folder)  # noqa: PTH102 - a path of bytes
    place = Path(os.fsdecode(folder))
    (place / "lamp.dxf").write_bytes((bench / "lamp.dxf").read_bytes())
    job = place / os.fsdecode(b"job\xfe.toml")
    job.write_bytes((bench / "job.toml").read_bytes())
    made = place / os.fsdecode(b"set\xfd")
    assert started("prepare", job, "-o", made, capture_output=True).returncode == 0
    done = started("verify", made, "--json", capture_output=True)
    assert done.returncode == 0, done.stderr
    assert '"job�.toml"' in (made / "report.json").read_text("utf-8").replace("\\ufffd", "�")


def test_numbers_are_written_alike_in_every_locale(bench: Path, tmp_path: Path) -> None:
    known = subprocess.run(["locale", "-a"], capture_output=True, text=True, check=False).stdout
    names = [n for n in ("de_DE.utf8", "tr_TR.utf8", "C", "POSIX") if n in known.split()]
    sets = []
    for name in names:
        done = started(
            "prepare", bench / "job.toml", "-o", tmp_path / name,
            environment={"LC_ALL": name}, capture_output=True,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        sets.append((tmp_path / name / "toolpaths.csv").read_bytes())
    assert len(set(sets)) == 1
