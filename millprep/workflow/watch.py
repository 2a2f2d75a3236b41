"""A job prepared again whenever one of its files is saved."""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, replace
from pathlib import Path

from millprep import cache, job
from millprep.model.finding import Finding, Refusal
from millprep.workflow import set_on_disk
from millprep.workflow.compare import Compared, compare
from millprep.workflow.prepare import prepare

PAUSE = 0.1
"""Seconds between two looks at the files. Names and times of a few files are read each time: that
works on every disk, and for editors that put a new file in the place of the old one."""
SETTLED = 0.03
"""A file is read when it has not changed for so many seconds: editors write in steps."""

Signature = tuple[tuple[str, int, int], ...]
"""Path, time and size of every file that is looked at."""


@dataclass(frozen=True, slots=True)
class WatchState:
    """What a watched job has come to.

    Attributes:
        run: counts the preparations, from 1.
        step: what is done now; empty when all is done.
        findings: of the last preparation, as far as they are known.
        made: whether the set in its folder is what the job makes now.
        explained: whether the folder of a refused job shows why.
        changes: what is cut otherwise than by the set before, copy by copy; None while it is not
            known, and without a set before.
        seconds: that the last preparation took.
    """

    run: int = 0
    step: str = ""
    findings: tuple[Finding, ...] = ()
    made: bool = False
    explained: bool = False
    changes: tuple[Compared, ...] | None = None
    seconds: float = 0.0


class _Saved(BaseException):
    """A file was saved while the job was prepared: it begins again."""


class Watch:
    """A job and the folder of its set.

    Args:
        job_file: the job.
        out: folder of the set.
        show: takes every new state.
        fresh: compute everything anew each time.
    """

    def __init__(
        self, job_file: Path, out: Path, show: Callable[[WatchState], None], *, fresh: bool = False
    ) -> None:
        self.job_file, self.out, self.show, self.fresh = job_file.resolve(), out, show, fresh
        self.state = WatchState()
        self._files = {self.job_file}
        self._seen: Signature = ()

    def run(self, go_on: Callable[[], bool] = lambda: True) -> None:
        """Prepare now and after every change, as long as `go_on` says so."""
        while go_on():
            now = self.signature()
            if now == self._seen:
                time.sleep(PAUSE)
                continue
            while True:
                time.sleep(SETTLED)
                later = self.signature()
                if later == now:
                    break
                now = later
            self._seen = now
            with suppress(_Saved):
                self._prepare()

    def signature(self) -> Signature:
        """The files that the job is made from, as they are, and all TOML files next to the job.

        One of those may be a bench that the job could not be read with.
        """
        files = {*self._files, *self.job_file.parent.glob("*.toml")}
        rows: list[tuple[str, int, int]] = []
        for file in files:
            # what is hidden is an editor's
            if not file.name.startswith("."):
                with suppress(OSError):
                    state = file.stat()
                    rows.append((str(file), state.st_mtime_ns, state.st_size))
        return tuple(sorted(rows))

    def _tell(self, **changed: object) -> None:
        self.state = replace(self.state, **changed)  # type: ignore[arg-type]
        self.show(self.state)

    def _step(self, step: str) -> None:
        """Show a step, and begin again when a file was saved meanwhile."""
        self._tell(step=step)
        if self.signature() != self._seen:
            raise _Saved

    def _look(self) -> None:
        """Find the files that the job is made from.

        Raises:
            Refusal: for mistakes in the job.
        """
        plan = job.load(self.job_file)
        named = [file for board in plan.boards for file, _ in board.files]
        named += [] if plan.bench is None else [plan.bench.file]
        named += [] if plan.layout.file is None else [plan.layout.file[0]]
        files = {self.job_file, *(file.resolve() for file in named)}
        if files != self._files:
            self._files = files
            self._seen = self.signature()

    def _prepare(self) -> None:
        start = time.monotonic()
        self._tell(run=self.state.run + 1, step="reading the job", changes=None)
        kept = None if self.fresh else cache.user_cache()
        with self._before() as before:
            try:
                self._look()
                with cache.using(kept):
                    cut_set = prepare(self.job_file, self.out, self._step)
            except Refusal as refusal:
                explained = set_on_disk.refused_folder(self.out).is_dir()
                self._tell(
                    step="",
                    findings=tuple(refusal.findings),
                    made=False,
                    explained=explained and refusal.exit_code == 1,
                    seconds=time.monotonic() - start,
                )
                return
            self._tell(
                step="",
                findings=cut_set.findings,
                made=True,
                explained=False,
                seconds=time.monotonic() - start,
            )
            if before is not None:
                with suppress(Refusal):
                    self._tell(changes=tuple(compare(before, self.out)))

    @contextmanager
    def _before(self) -> Iterator[Path | None]:
        """The set as it is now, for as long as it is compared; None without one."""
        if not (self.out / set_on_disk.MARK).is_file():
            yield None
            return
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(folder) / "before"
            with suppress(OSError, shutil.Error):
                shutil.copytree(self.out, copy)
            yield copy if (copy / set_on_disk.MARK).is_file() else None
