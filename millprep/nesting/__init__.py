"""Boards on blanks."""
