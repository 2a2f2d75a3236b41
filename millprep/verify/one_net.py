"""Which pieces belong together: copper that joins pieces of one net makes no short."""

from __future__ import annotations

from collections.abc import Mapping

from millprep.model.as_cut import CopperPart

Key = tuple[int, str]
"""A piece of a copy: (placement, piece)."""
Nets = Mapping[Key, str]
"""The net of a piece; one that is not in it is a net of its own."""


def net_of(nets: Nets, piece: Key) -> Key:
    """The net of a piece, which copies do not share."""
    return (piece[0], nets.get(piece, piece[1]))


def nets_on(part: CopperPart, nets: Nets) -> set[Key]:
    """The nets whose copper a part carries."""
    return {net_of(nets, piece) for piece in part.pieces}
