"""Prepare a job from Python, verify the set, and list what each program takes.

Run it as `python as_a_library.py JOB.toml FOLDER`. The set is written to FOLDER.
"""

from __future__ import annotations

import sys
from pathlib import Path

import millprep
from millprep.model.finding import Refusal


def main(job_file: Path, out: Path) -> int:
    """Exit codes as the command line has them."""
    try:
        cut_set = millprep.prepare(job_file, out)
        verified = millprep.verify_set(out, job_file)
    except Refusal as refusal:
        for finding in refusal.findings:
            print(f"{finding.severity}: {finding.message}", file=sys.stderr)
        return refusal.exit_code
    for program in cut_set.programs:
        print(f"{program.file}: {program.cutter.name}, {program.figures.seconds / 60:.1f} min")
    return 0 if verified.good else 1


if __name__ == "__main__":
    sys.exit(main(Path(sys.argv[1]), Path(sys.argv[2])))
