"""The commands: their helps pinned, named in the README, and what they print."""

from __future__ import annotations

import gc
import io
import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import click
import pytest

from millprep import __version__
from millprep.cli.main import commands, main
from tests.helpers import small_job
from tests.helpers.small_job import run

ROOT = Path(__file__).parents[2]
HELPS = Path(__file__).parent / "helps"
NAMES = ["", *sorted(commands.commands)]


@pytest.mark.parametrize("name", NAMES, ids=lambda name: name or "millprep")
def test_the_help_of_every_command(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "80")
    result = run(*([name] if name else []), "--help")
    file = HELPS / f"{name or 'millprep'}.txt"
    if "MILLPREP_PIN" in os.environ:
        file.write_text(result.stdout, "utf-8")
    assert result.exit_code == 0
    assert result.stdout == file.read_text("utf-8"), "run with MILLPREP_PIN=1 to pin a new help"


def test_no_help_is_left_of_a_command_that_is_gone() -> None:
    assert {file.stem for file in HELPS.iterdir()} == {name or "millprep" for name in NAMES}


def test_every_command_and_option_says_what_it_is() -> None:
    for command in commands.commands.values():
        assert command.help
        for option in command.params:
            assert isinstance(option, click.Argument) or getattr(option, "help", None)


@pytest.mark.parametrize("name", NAMES[1:])
def test_every_command_is_named_in_the_readme(name: str) -> None:
    assert f"`millprep {name}" in (ROOT / "README.md").read_text("utf-8")


def test_the_version() -> None:
    assert run("--version").stdout == f"millprep, version {__version__}\n"
    assert run("version").stdout == f"millprep {__version__}\n"


def test_the_schema_is_json() -> None:
    schema = json.loads(run("schema").stdout)
    assert {"machine", "board", "isolation"} <= set(schema["properties"])


def test_the_schema_of_the_report_is_json() -> None:
    schema = json.loads(run("schema", "--report").stdout)
    assert {"passes", "joins", "seal"} <= set(schema["required"])


def test_the_table_of_keys_names_every_table() -> None:
    table = run("schema", "--table").stdout
    for head in ("machine", "blank", "setup", "board", "cutters", "isolation", "registration"):
        assert f"[{head}" in table


def test_a_starter_job_for_a_drawing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    small_job.draw(tmp_path / "lamp.dxf")
    printed = run("new", "lamp.dxf")
    assert printed.exit_code == 0
    for layer in ("sheen", "shore", "wells"):
        assert layer in printed.stdout
    written = run("new", "lamp.dxf", "--out", "lamp.toml")
    assert written.exit_code == 0
    assert (tmp_path / "lamp.toml").read_text("utf-8") == printed.stdout


def test_a_starter_job_is_taken_once_it_is_filled_in(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    small_job.draw(tmp_path / "lamp.dxf")
    run("new", "lamp.dxf", "--out", "lamp.toml")
    unfilled = run("prepare", "lamp.toml", "--out", "set")
    assert unfilled.exit_code == 2
    assert "drawn_from" in unfilled.stderr
    text = (tmp_path / "lamp.toml").read_text("utf-8")
    text = text.replace('drawn_from = "FILL IN"', 'drawn_from = "copper"')
    (tmp_path / "lamp.toml").write_text(text, "utf-8")
    filled = run("prepare", "lamp.toml", "--out", "set")
    assert filled.exit_code == 0, filled.output


def test_a_starter_job_replaces_no_file(tmp_path: Path) -> None:
    small_job.draw(tmp_path / "lamp.dxf")
    (tmp_path / "lamp.toml").write_text("mine")
    result = run("new", tmp_path / "lamp.dxf", "--out", tmp_path / "lamp.toml")
    assert result.exit_code == 2
    assert "lamp.toml exists; name another file" in result.stderr
    assert (tmp_path / "lamp.toml").read_text() == "mine"


def test_a_starter_job_needs_a_drawing(tmp_path: Path) -> None:
    result = run("new", tmp_path / "lamp.dxf", "--out", tmp_path / "lamp.toml")
    assert result.exit_code == 3
    assert "there is no file lamp.dxf" in result.stderr
    assert list(tmp_path.iterdir()) == []


def fresh(*words: str, code: str = "") -> subprocess.CompletedProcess[str]:
    """The command line in an interpreter of its own."""
    source = f"import sys\nfrom millprep.cli import main\n{code}\nsys.argv[1:] = {list(words)!r}\n"
    return subprocess.run(
        [sys.executable, "-c", f"{source}main()"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


def test_a_fault_of_ours_ends_with_70_and_asks_for_a_report(tmp_path: Path) -> None:
    job = small_job.put(tmp_path)
    run_ = fresh(
        "prepare", str(job), "--out", str(tmp_path / "set"),
        code="import millprep.job\nmillprep.job.load = lambda file: 1 / 0",
    )  # fmt: skip
    assert run_.returncode == 70
    assert "ZeroDivisionError" in run_.stderr
    assert "This is a fault of millprep, not of your files." in run_.stderr
    assert {path.name for path in tmp_path.iterdir()} == {"job.toml", "lamp.dxf"}


def test_what_is_piped_has_no_colour_and_no_progress(tmp_path: Path) -> None:
    job = small_job.put(tmp_path)
    done = fresh("prepare", str(job), "--out", str(tmp_path / "set"))
    assert done.returncode == 0
    (line,) = done.stderr.splitlines()
    assert "nets-not-named" in line
    assert "\x1b" not in done.stdout


def test_the_exit_code_reaches_the_shell(tmp_path: Path) -> None:
    job = small_job.put(tmp_path, small_job.changed("gap = 0.3", "gap = 0.3\ndepth = 0.05"))
    assert fresh("prepare", str(job), "--out", str(tmp_path / "set")).returncode == 1


def test_it_runs_without_hang_up_signals_and_on_a_stream_of_its_own(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Windows has no SIGHUP; an editor's console is no text file
    taken: list[int] = []
    monkeypatch.delattr(signal, "SIGHUP", raising=False)
    monkeypatch.setattr(signal, "signal", lambda number, _: taken.append(number))
    for name in ("set_threshold", "freeze"):
        monkeypatch.setattr(gc, name, lambda *_: None)
    monkeypatch.setattr(sys, "argv", ["millprep", "version"])
    console = io.StringIO()
    monkeypatch.setattr(sys, "stdout", console)
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == 0
    assert console.getvalue() == f"millprep {__version__}\n"
    assert taken == [signal.SIGTERM]
