"""From a drawing of a single-sided circuit board to safe cut files for a small mill."""

__version__ = "0.2.0"
