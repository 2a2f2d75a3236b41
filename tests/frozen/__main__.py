"""Compare sets with what is frozen, `--check [NAME …]`, or freeze them anew, `--write [NAME …]`."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.frozen.jobs import JOBS, REAL, SHARED
from tests.frozen.store import differences, frozen, made, write


def main() -> int:
    """Exit code 1 when a set differs."""
    way, *names = sys.argv[1:] or ["--check"]
    if way not in ("--check", "--write"):
        sys.exit(f"{__doc__}")
    known = JOBS | (REAL if SHARED is not None else {})
    differing = 0
    for name in names or known:
        with tempfile.TemporaryDirectory() as folder:
            now = made(known[name], Path(folder))
        changed = differences(frozen().get(name, {}), now)
        if way == "--write":
            write(name, now)
        differing += bool(changed)
        print(name, "same" if not changed else "\n  ".join(["differs in", *changed]), flush=True)  # noqa: T201
    return int(differing > 0 and way != "--write")


if __name__ == "__main__":
    sys.exit(main())
