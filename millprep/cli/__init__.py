"""The command line: arguments and words, nothing else."""

from millprep.cli.main import main

__all__ = ["main"]
