"""Work that runs beside the walk, on a second core where the system makes that simple and safe."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import sys
import threading
import warnings
from collections.abc import Callable
from multiprocessing.connection import Connection
from typing import Any, TypeVar

T = TypeVar("T")


def beside(work: Callable[[], T]) -> Callable[[], T]:
    """Begin work in a child of this process; the call that is returned waits for its result.

    The child is a fork, so it needs no copy of what the work holds, and it runs nothing else. It
    ends with this process.
    Only Linux forks safely beside the libraries in use here; elsewhere, or on one core, the work
    is done when its result is asked for. The result is the same either way.
    """
    if sys.platform != "linux" or len(os.sched_getaffinity(0)) < 2:
        return work
    context = multiprocessing.get_context("fork")
    here, there = context.Pipe(duplex=False)
    child = context.Process(target=_run, args=(work, here, there), daemon=True)
    with warnings.catch_warnings():
        # newer Pythons warn of threads; whatever threads there are, the child waits for none
        warnings.simplefilter("ignore", DeprecationWarning)
        child.start()
    there.close()

    def result() -> T:
        try:
            good, value = here.recv()
        except EOFError:
            # the child died, of memory perhaps; here the reason shows
            return work()
        finally:
            here.close()
            child.join()
        if not good:
            raise value
        made: T = value
        return made

    return result


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
