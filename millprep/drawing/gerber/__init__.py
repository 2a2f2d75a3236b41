"""Fabrication files: Gerber layers and drill files, read into marks."""
