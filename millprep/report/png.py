"""A scene as PNG: its SVG, rasterised with the package's own font and no other."""

from __future__ import annotations

from millprep.report.fonts import BOLD, REGULAR, font_file
from millprep.report.scene import Scene
from millprep.report.svg import svg


def png(scene: Scene, width: int) -> bytes:
    """The scene as a picture so many pixels wide."""
    return rasterised(svg(scene), width)


def rasterised(text: str, width: int) -> bytes:
    """SVG as PNG, so many pixels wide."""
    import resvg_py

    return bytes(
        resvg_py.svg_to_bytes(
            svg_string=text,
            width=width,
            dpi=96.0,
            background="#ffffff",
            skip_system_fonts=True,
            font_files=[font_file(REGULAR), font_file(BOLD)],
            font_family="DejaVu Sans",
            sans_serif_family="DejaVu Sans",
        )
    )
