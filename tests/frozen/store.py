"""The digests on disk, and how they are compared."""

from __future__ import annotations

import json
import math
from pathlib import Path

from tests.frozen.digest import Digest, Digests, set_digests
from tests.frozen.jobs import Make

FILE = Path(__file__).with_name("digests.json")
OFF = 2e-5
"""Areas that differ by this share are the same: edges a micrometre off change them by 8 times as
much, noise in the last bit of all sines and crossings by a quarter of it (the indicators)."""


def frozen() -> dict[str, Digests]:
    """What was frozen, by the name of the set."""
    known: dict[str, Digests] = json.loads(FILE.read_text("utf-8")) if FILE.exists() else {}
    return known


def write(name: str, digests: Digests) -> None:
    """Freeze a set as it is now."""
    known = frozen() | {name: digests}
    FILE.write_text(json.dumps(known, indent=1, sort_keys=True) + "\n", "utf-8")


def made(make: Make, folder: Path) -> Digests:
    """The digests of a set that is made in an empty folder."""
    return set_digests(make(folder))


def differences(known: Digests, now: Digests) -> list[str]:
    """The parts of a set that differ from what is frozen, missing and new ones included."""
    return sorted(part for part in known | now if not _same(known.get(part), now.get(part)))


def _same(known: Digest | None, now: Digest | None) -> bool:
    if isinstance(known, list) and isinstance(now, list):
        return known[0] == now[0] and math.isclose(known[1], now[1], rel_tol=OFF)
    return known == now
