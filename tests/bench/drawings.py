"""Seconds and peak memory of reading every real drawing, each in a process of its own.

Run it from the project's folder: `MILLPREP_SHARED=… python -m tests.bench.drawings`; with
`--json` it writes one object a line instead of a table. Every drawing is read as the table of
tests/published/test_real_drawings.py says. With `--cpu` and `--memory` a reading that needs
more seconds or megabytes is ended, which the line then says.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

DONE, REFUSED, MEMORY, CRASHED = 0, 3, 4, 5


def measured(cpu: int | None, memory: int | None) -> Iterator[dict[str, Any]]:
    """One record a drawing: what became of it, processor seconds, peak resident megabytes.

    Needs `os.fork`; the libraries are loaded once, before.
    """
    import ezdxf.filemanagement

    from tests.helpers.real_drawings import OUTCOMES

    with tempfile.TemporaryDirectory() as folder:
        pad = Path(folder) / "pad.dxf"
        doc: Any = ezdxf.filemanagement.new()
        doc.header["$INSUNITS"] = 4
        doc.modelspace().add_circle((0, 0), 1, dxfattribs={"layer": "foil"})
        doc.saveas(pad)
        for number, (file, *_) in enumerate(OUTCOMES):
            child = os.fork()
            if child == 0:
                os._exit(_read(number, pad, cpu, memory))
            _, status, usage = os.wait4(child, 0)
            code = os.waitstatus_to_exitcode(status)
            words = {DONE: "read", REFUSED: "refused", MEMORY: "out of memory"}
            yield {
                "file": file,
                "outcome": words.get(code, f"ended by signal {-code}" if code < 0 else "crashed"),
                "seconds": round(usage.ru_utime + usage.ru_stime, 3),
                "megabytes": round(usage.ru_maxrss / 1024, 1),
            }


def _read(number: int, pad: Path, cpu: int | None, memory: int | None) -> int:
    import resource
    import traceback

    from millprep.model.finding import Refusal
    from tests.helpers.real_drawings import OUTCOMES, attempt

    if cpu is not None:
        resource.setrlimit(resource.RLIMIT_CPU, (cpu, cpu))
    if memory is not None:
        resource.setrlimit(resource.RLIMIT_AS, (memory << 20, memory << 20))
    file, unit, roles, _ = OUTCOMES[number]
    try:
        attempt(file, unit, roles, pad)
    except Refusal as refusal:
        # what the library cannot allocate ends in a refusal of this code
        large = any(one.code == "drawing-too-large" for one in refusal.findings)
        return MEMORY if large else REFUSED
    except MemoryError:
        return MEMORY
    except Exception:
        traceback.print_exc()
        return CRASHED
    return DONE


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true", help="one JSON object a line")
    parser.add_argument("--cpu", type=int, help="seconds a reading may take")
    parser.add_argument("--memory", type=int, help="megabytes of address space it may take")
    given = parser.parse_args()
    for record in measured(given.cpu, given.memory):
        words = (
            json.dumps(record)
            if given.json
            else f"{record['file']:45} {record['outcome']:10} {record['seconds']:7.2f} s "
            f"{record['megabytes']:7.0f} MB"
        )
        sys.stdout.write(words + "\n")
        sys.stdout.flush()


if __name__ == "__main__":
    main()
