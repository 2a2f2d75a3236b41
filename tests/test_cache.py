"""Kept results: the same bytes as without them, whatever changes; what is damaged is made anew."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any
from unittest import mock

import jinja2
import numpy as np
import pytest
import shapely
from hypothesis import settings
from numpy.random import default_rng

from millprep import cache
from millprep.cache import FOLLOWS, VARIABLE, Cache, cached, if_kept, user_cache, using
from millprep.geometry import path as geometry_path
from millprep.model.finding import Refusal
from millprep.report.review import Compiled
from millprep.workflow.prepare import prepare
from tests.helpers.small_job import JOB, put, run
from tests.random_jobs import RandomJob, draw, text_of, write
from tests.random_keys import HEADINGS, drawable, value

CALLS: list[int] = []


@cached
def doubled(number: int) -> tuple[int, ...]:
    CALLS.append(number)
    return (2 * number,)


@pytest.fixture
def kept(tmp_path: Path) -> Cache:
    CALLS.clear()
    return Cache(tmp_path / "cache")


def test_a_result_is_computed_once_and_only_while_a_cache_is_in_use(kept: Cache) -> None:
    assert doubled(3) == (6,)
    with using(kept):
        assert [doubled(3), doubled(3), doubled(number=3), doubled(4)] == [(6,), (6,), (6,), (8,)]
    # how it is called is part of the name: a keyword is computed once more
    assert CALLS == [3, 3, 3, 4]
    assert doubled(3) == (6,)
    assert CALLS == [3, 3, 3, 4, 3]


def test_work_of_which_all_is_kept_is_done_and_nothing_else_is_computed(kept: Cache) -> None:
    def work() -> tuple[int, ...]:
        return doubled(3) + doubled(4)

    def refuse() -> int:
        raise Refusal([])

    assert if_kept(work) is None
    with using(kept):
        assert if_kept(work) is None
        doubled(3)
        assert if_kept(work) is None
        assert CALLS == [3]
        assert work() == (6, 8)
        assert if_kept(work) == ((6, 8),)
        assert if_kept(refuse) is None
        # afterwards all is computed again
        assert doubled(5) == (10,)
    assert CALLS == [3, 4, 5]


@dataclass(frozen=True)
class Halved:
    """A number, and what follows from it."""

    number: float
    half: float = field(metadata=FOLLOWS)
    rows: tuple[float, ...] = ()


def test_what_follows_from_other_fields_is_no_part_of_a_key(kept: Cache) -> None:
    assert kept.key("work", Halved(4.0, 2.0)) == kept.key("work", Halved(4.0, 3.0))
    assert kept.key("work", Halved(4.0, 2.0)) != kept.key("work", Halved(5.0, 2.0))


def test_rows_of_a_result_have_one_key_whether_it_was_computed_or_kept(kept: Cache) -> None:
    def made(cache: Cache) -> Halved:
        rows = tuple(n / 7 for n in range(1000))
        (result,) = cache.value("halved", 1, lambda: (Halved(4.0, 2.0, rows),))
        return result

    again = Cache(kept.folder)
    first, second = made(kept), made(again)
    assert first.rows is not second.rows
    assert kept.key("work", first.rows) == again.key("work", second.rows)
    assert kept.key("work", first) != kept.key("work", first.rows)


@pytest.mark.parametrize("damage", ["cut short", "one byte", "empty", "no pickle"])
def test_a_damaged_entry_is_made_anew(kept: Cache, damage: str) -> None:
    with using(kept):
        doubled(3)
        (file,) = kept.folder.iterdir()
        data = file.read_bytes()
        if damage == "no pickle":
            kept.write(file.name, b"no pickle")
        else:
            spoilt = {"cut short": data[:-1], "one byte": data[:-1] + b"x", "empty": b""}
            file.write_bytes(spoilt[damage])
        assert doubled(3) == (6,)
        assert CALLS == [3, 3]
        assert file.read_bytes() == data


def test_equal_values_have_one_key_and_others_another(kept: Cache) -> None:
    def key(value: object) -> str:
        return kept.key("work", value)

    twice = ("shared", "shared")
    assert key(twice) == key(("shared", "".join(["sha", "red"])))
    assert key(frozenset("abc")) == key(frozenset("cba"))
    assert key(MappingProxyType({"a": 1})) == key(MappingProxyType({"a": 1}))
    assert key(shapely.Point(1, 2)) == key(shapely.Point(1, 2))
    square = np.arange(9.0).reshape(3, 3)
    assert key(square[:, :2]) == key(square[:, :2].copy()) == key(square[:, :2].copy(order="F"))
    path = geometry_path.Path.circle((1.0, 2.0), 3.0)
    before = key(path)
    # it remembers what was worked out once
    assert path.length > 0
    assert key(path) == before
    different = [0.0, -0.0, 1, 1.0, True, "1", (1,), {1}, shapely.Point(0, 1), np.zeros(1), None]
    assert len({key(value) for value in different}) == len(different)
    assert kept.key("work", 1) != kept.key("other work", 1)


def test_keys_are_the_same_in_every_process(kept: Cache) -> None:
    code = (
        "from millprep.cache import Cache; from pathlib import Path;"
        "print(Cache(Path('x')).key('work', frozenset(['a', 'b', 'c', 'd'])))"
    )
    seeds = [os.environ | {"PYTHONHASHSEED": seed} for seed in ("1", "2")]
    said = {subprocess.check_output([sys.executable, "-c", code], env=env) for env in seeds}
    assert len(said) == 1


def test_a_key_depends_on_the_source_and_the_libraries(
    kept: Cache, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    known = {kept.key("work", 1)}
    record = "Name: any\nVersion: 0\nRequires-Dist: numpy>=2\n\nVersion: of a text\n"
    with monkeypatch.context() as other:
        other.setattr("importlib.metadata.PathDistribution.read_text", lambda *_: record)
        known.add(Cache(tmp_path).key("work", 1))
    assert kept.key("work", 1) == Cache(tmp_path).key("work", 1)
    (tmp_path / "other.py").write_text("changed = True\n")
    monkeypatch.setattr(cache, "__file__", str(tmp_path / "cache.py"))
    known.add(Cache(tmp_path).key("work", 1))
    assert len(known) == 3


def test_the_template_is_compiled_once(kept: Cache) -> None:
    def compiled() -> tuple[bool, str]:
        by_jinja = jinja2.MemcachedBytecodeCache(Compiled(kept))
        loader = jinja2.DictLoader({"page": "{{ 6 * 7 }}"})
        environment = jinja2.Environment(loader=loader, bytecode_cache=by_jinja, autoescape=True)
        with mock.patch.object(environment, "compile", wraps=environment.compile) as compile_:
            page = environment.get_template("page").render()
        return compile_.called, page

    assert compiled() == (True, "42")
    assert compiled() == (False, "42")


def test_what_may_not_be_kept_is_not(kept: Cache) -> None:
    assert kept.value("work", 1, lambda: 2, sure=lambda: False) == 2
    assert not kept.folder.exists()
    assert kept.value("work", lambda: None, lambda: 2) == 2
    assert not kept.folder.exists()


def test_what_was_used_longest_ago_goes_when_the_room_is_full(tmp_path: Path) -> None:
    small = Cache(tmp_path, most=4000)
    for n in range(4):
        small.write(str(n), bytes(968))
        os.utime(tmp_path / str(n), (n, n))
    small.trim()
    assert {file.name for file in tmp_path.iterdir()} == {"0", "1", "2", "3"}
    assert small.read("0") == bytes(968)
    small.write("4", bytes(968))
    small.trim()
    # 0 was just used; a quarter of the room is free
    assert {file.name for file in tmp_path.iterdir()} == {"0", "3", "4"}


def test_a_folder_that_others_may_read_is_not_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, "off")
    assert user_cache() is None
    monkeypatch.setenv(VARIABLE, str(tmp_path / "new"))
    made = user_cache()
    assert made is not None
    made.write("key", b"")
    assert (tmp_path / "new").stat().st_mode & 0o777 == 0o700
    assert user_cache() is not None
    (tmp_path / "link").symlink_to(tmp_path / "new")
    (tmp_path / "new").chmod(0o750)
    assert user_cache() is None
    (tmp_path / "new").chmod(0o700)
    monkeypatch.setenv(VARIABLE, str(tmp_path / "link"))
    assert user_cache() is None


def files_of(folder: Path) -> dict[str, bytes]:
    """Every file of a set."""
    return {
        file.relative_to(folder).as_posix(): file.read_bytes()
        for file in folder.rglob("*")
        if file.is_file()
    }


NEEDED: dict[tuple[str, str], Any] = {
    ("[isolation]", "gap"): 0.7,
    ("[cutters.vee]", "feed"): 111.0,
    ("[cutters.vee]", "plunge"): 51.0,
    ("[cutters.vee]", "spindle"): 9100.0,
    ("[cutters.vee]", "tip"): 0.11,
    ("[cutters.vee]", "angle"): 31.0,
    ("[cutters.drill]", "plunge"): 71.0,
    ("[cutters.bore]", "feed"): 91.0,
    ("[cutters.bore]", "step"): 0.21,
    ("[cutters.profile]", "diameter"): 1.9,
    ("[cutters.profile]", "feed"): 131.0,
    ("[[blank]]", "margin"): 16.0,
    ("[[blank]]", "thickness"): 1.5,
    ("[[blank]]", "copper"): 0.03,
    ("[[board]]", "drawn_from"): "components",
    ("[drilling]", "spoilboard"): 11.0,
    ("[machine]", "max_feed"): 100.0,
    ("", "name"): "another word",
}
"""Keys without a default, each with another value."""
KNOWN = drawable()
FEW = (
    ("[isolation]", "gap"),
    ("[cutters.vee]", "feed"),
    ("[machine]", "acceleration"),
    ("[setup]", "tape"),
)
EVERY = [*NEEDED, *KNOWN]
CHANGED = [where for where in EVERY if where in FEW] if settings().derandomize else EVERY
"""A clearance, a feed, what a program costs, how a blank is held; the long profile: every key."""


@pytest.fixture(scope="module")
def kept_job(tmp_path_factory: pytest.TempPathFactory) -> tuple[RandomJob, Path, Cache]:
    """A job with two passes, the folder of its files, and the cache that it was prepared with."""
    folder = tmp_path_factory.mktemp("kept")
    job, kept = draw(1, 15, small=True), Cache(folder / "cache")
    write(job, folder)
    with using(kept):
        prepare(folder / "job.toml", folder / "first")
    return job, folder, kept


def outcome(folder: Path, kept: Cache | None) -> dict[str, bytes] | list[str]:
    """Every file of the set of a folder's job, or why it is refused."""
    out = folder / "out"
    try:
        with using(kept):
            prepare(folder / "job.toml", out)
        return files_of(out)
    except Refusal as refusal:
        return [str(finding) for finding in refusal.findings]
    finally:
        shutil.rmtree(out, ignore_errors=True)
        shutil.rmtree(folder / "out-refused", ignore_errors=True)


def test_a_set_made_again_computes_nothing(kept_job: tuple[RandomJob, Path, Cache]) -> None:
    _, folder, kept = kept_job
    before = {file.name for file in kept.folder.iterdir()}
    assert outcome(folder, kept) == files_of(folder / "first")
    assert {file.name for file in kept.folder.iterdir()} == before


@pytest.mark.parametrize("where", CHANGED, ids=" ".join)
def test_a_changed_key_gives_the_same_with_kept_results_and_without(
    kept_job: tuple[RandomJob, Path, Cache], where: tuple[str, str]
) -> None:
    job, folder, kept = kept_job
    tables = {heading: dict(table) for heading, table in job.tables.items()}
    drawn = NEEDED[where] if where in NEEDED else value(where, KNOWN[where], default_rng(7))
    for heading in HEADINGS.get(where[0], (where[0],)):
        tables.setdefault(heading, {})[where[1]] = drawn
    (folder / "job.toml").write_text(text_of(tables), "utf-8")
    assert outcome(folder, kept) == outcome(folder, None)


def test_a_set_of_which_nothing_has_changed_stays_as_it_is(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "cache"))
    (tmp_path / "job").mkdir()
    job, out = put(tmp_path / "job"), tmp_path / "out"

    def again(*words: str) -> bool:
        """Whether a run says that nothing has changed; if so the set is the old folder."""
        place = out.stat().st_ino
        result = run("prepare", job, "--out", out, *words)
        assert result.exit_code == 0
        assert result.stdout == first.stdout
        assert result.stderr.endswith(first.stderr)
        same = result.stderr.startswith("nothing has changed")
        assert same == (out.stat().st_ino == place)
        return same

    first = run("prepare", job, "--out", out)
    assert first.exit_code == 0
    # what a run left that was killed just when it was done goes as well
    (tmp_path / ".out-0123456789ab").mkdir()
    (tmp_path / ".out.lock").touch()
    assert again()
    assert {path.name for path in tmp_path.iterdir()} == {"job", "out", "cache"}
    assert not again("--fresh")
    assert again()
    (out / "sheet.html").write_text("spoilt")
    assert not again()
    assert (out / "sheet.html").stat().st_size > 1000
    assert run("prepare", job, "--out", out, "--json").stdout == (out / "report.json").read_text()
    # saved anew as it was
    job.write_text(JOB, "utf-8")
    assert again()
    # the drawing as well is what the set is made from
    (job.parent / "lamp.dxf").write_bytes((job.parent / "lamp.dxf").read_bytes() + b"\n")
    result = run("prepare", job, "--out", out)
    assert "nothing has changed" not in result.stderr
    assert result.exit_code == 0


def test_a_begun_set_is_refused_although_nothing_has_changed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(VARIABLE, str(tmp_path / "cache"))
    job, out = put(tmp_path), tmp_path / "out"
    assert run("prepare", job, "--out", out).exit_code == 0
    assert run("begin", out, "--pass", "1").exit_code == 0
    result = run("prepare", job, "--out", out)
    assert result.exit_code == 2
    assert "[set-begun]" in result.stderr
