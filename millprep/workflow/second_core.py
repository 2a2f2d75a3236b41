"""Work on other cores, while this one goes on."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import sys
import threading
import warnings
from collections.abc import Callable, Sequence
from functools import partial
from multiprocessing.connection import Connection, wait
from multiprocessing.process import BaseProcess
from typing import Any, Generic, ParamSpec, TypeVar

from millprep.cache import if_kept

P = ParamSpec("P")
T = TypeVar("T")


def cores() -> int:
    """How many cores this process may fork work to; 1 where that is not safe.

    A process that does one of several works has a core to itself: the others have theirs.
    """
    if multiprocessing.parent_process() is not None:
        return 1
    return len(os.sched_getaffinity(0)) if sys.platform == "linux" else 1


def workers() -> int:
    """How many processes may share a long search; 1 in a process that has a core to itself."""
    return 1 if multiprocessing.parent_process() is not None else os.cpu_count() or 1


class Work(Generic[T]):
    """Work that was started; its result is fetched once."""

    def __init__(self, work: Callable[[], T], made: tuple[T] | None = None) -> None:
        self._work, self._made = work, made
        self._child: BaseProcess | None = None
        if made is not None or cores() < 2:
            return
        context = multiprocessing.get_context("fork")
        self._here, there = context.Pipe(duplex=False)
        self._child = context.Process(target=_run, args=(work, self._here, there), daemon=True)
        with warnings.catch_warnings():
            # newer Pythons warn of threads; whatever threads there are, the child waits for none
            warnings.simplefilter("ignore", DeprecationWarning)
            self._child.start()
        there.close()

    def result(self) -> T:
        """What the work returns, once it is done; what it raises is raised here."""
        if self._made is not None:
            return self._made[0]
        if self._child is None:
            return self._work()
        try:
            good, value = self._here.recv()
        except EOFError:
            # the child died, of memory perhaps; here the reason shows
            return self._work()
        finally:
            self._here.close()
            self._child.join()
        if not good:
            raise value
        made: T = value
        return made


def start(work: Callable[P, T], *args: P.args, **words: P.kwargs) -> Work[T]:
    """Start work in a child of this process.

    The child is a fork, so it needs no copy of what the work holds, and it runs nothing else. It
    ends with this process. Only Linux forks safely next to the libraries in use here; elsewhere,
    or on one core, the work is done when its result is fetched. The result is the same.
    """
    return Work(partial(work, *args, **words))


def kept_or_started(work: Callable[P, T], *args: P.args, **words: P.kwargs) -> Work[T]:
    """The same, but without a child where all that the work computes is kept.

    To divide a process costs more than to take what is kept. Without those results the work should
    be quick.
    """
    whole = partial(work, *args, **words)
    return Work(whole, if_kept(whole))


def _run(work: Callable[[], Any], waiting: Connection, answer: Connection) -> None:
    # else the pipe would never break: a fork holds both of its ends
    waiting.close()
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with contextlib.suppress(BrokenPipeError), answer:
        # a result that nobody waits for any more is no fault
        try:
            answer.send((True, work()))
        except BrokenPipeError:
            raise
        except BaseException as fault:
            answer.send((False, fault))


def _end_with_parent() -> None:
    """Wait until the process that wants the result is gone, killed perhaps, and end as well."""
    parent = multiprocessing.parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


Say = Callable[[str], None]


class ProcessLostError(Exception):
    """A process ended without a result: it was killed, or its memory did not suffice."""


def side_by_side(
    works: Sequence[Callable[[Say], T]],
    step: Callable[[int, str], None],
    done: Callable[[int], None],
) -> list[T | BaseException]:
    """Do independent works, each in a process of its own, as many at a time as there are cores.

    What one raises ends no other. Elsewhere than on Linux a work is sent to a new process, so it
    must be a function of a module with values that can be pickled.

    Args:
        works: each takes a function that it calls with the name of every step.
        step: takes the place of a work and the name of its step.
        done: takes the place of a work that has ended.

    Returns:
        what each work returned or raised, in order.
    """
    context: Any = multiprocessing.get_context("fork" if sys.platform == "linux" else "spawn")
    most = cores() if sys.platform == "linux" else workers()
    results: list[T | BaseException] = [ProcessLostError() for _ in works]
    waiting = list(enumerate(works))[::-1]
    running: dict[Connection, tuple[int, BaseProcess]] = {}
    while waiting or running:
        while waiting and len(running) < most:
            place, work = waiting.pop()
            here, there = context.Pipe(duplex=False)
            child = context.Process(target=_run_aloud, args=(work, there), daemon=True)
            with warnings.catch_warnings():
                warnings.simplefilter("ignore", DeprecationWarning)
                child.start()
            there.close()
            running[here] = (place, child)
        for ready in wait(list(running)):
            here = next(connection for connection in running if connection is ready)
            place, child = running[here]
            try:
                kind, value = here.recv()
            except EOFError:
                here.close()
                child.join()
                del running[here]
                done(place)
                continue
            if kind == "step":
                step(place, value)
            else:
                results[place] = value
    return results


def _run_aloud(work: Callable[[Say], Any], answer: Connection) -> None:
    threading.Thread(target=_end_with_parent, daemon=True).start()
    with answer:
        try:
            made = work(lambda step: answer.send(("step", step)))
        except BaseException as fault:
            made = fault
        answer.send(("result", made))
