"""Colours as different readers see them.

Readers who lack one kind of cones: Machado, Oliveira, Fernandes, IEEE TVCG 15(6), 2009, severity
1.0; the matrices are from memory, and that their rows sum to 1, so white stays white, is tested.
sRGB: IEC 61966-2-1; CIELAB and the D65 white: CIE 15 (constants from memory). CIEDE2000:
ISO/CIE 11664-6, as Sharma, Wu, Dalal write it out, Color Res. Appl. 30(1), 2005 (from memory; three
pairs of their table are tested).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]


READERS: dict[str, FloatArray] = {
    "all cones": np.eye(3),
    "no long-wave cones": np.array(
        [
            [0.152286, 1.052583, -0.204868],
            [0.114503, 0.786281, 0.099216],
            [-0.003882, -0.048116, 1.051998],
        ]
    ),
    "no middle-wave cones": np.array(
        [
            [0.367322, 0.860646, -0.227968],
            [0.280085, 0.672501, 0.047413],
            [-0.011820, 0.042940, 0.968881],
        ]
    ),
    "no short-wave cones": np.array(
        [
            [1.255528, -0.076749, -0.178779],
            [-0.078411, 0.930809, 0.147602],
            [0.004733, 0.691367, 0.303900],
        ]
    ),
}


def linear(colour: str) -> FloatArray:
    c = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    out: FloatArray = np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)
    return out


def lab(rgb: FloatArray) -> FloatArray:
    to_xyz = np.array(
        [[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
         [0.0193339, 0.1191920, 0.9503041]]
    )  # fmt: skip
    xyz = to_xyz @ np.clip(rgb, 0, 1) / np.array([0.95047, 1.0, 1.08883])
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


def ciede2000(one: FloatArray, other: FloatArray) -> float:
    """Difference of two colours in CIELAB."""
    (l1, a1, b1), (l2, a2, b2) = one.tolist(), other.tolist()
    mean = (np.hypot(a1, b1) + np.hypot(a2, b2)) / 2
    g = 0.5 * (1 - np.sqrt(mean**7 / (mean**7 + 25.0**7)))
    a1, a2 = a1 * (1 + g), a2 * (1 + g)
    c1, c2 = np.hypot(a1, b1), np.hypot(a2, b2)
    h1, h2 = (np.degrees(np.arctan2(b, a)) % 360 for a, b in ((a1, b1), (a2, b2)))
    turn, h = (h2 - h1 + 180) % 360 - 180, (h1 + h2) / 2
    if c1 * c2 == 0:
        turn, h = 0.0, h1 + h2
    elif abs(h1 - h2) > 180:
        h += 180
    dl, dc, dh = l2 - l1, c2 - c1, 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2))
    middle, chroma = (l1 + l2) / 2, (c1 + c2) / 2

    def cos(angle: float) -> float:
        return float(np.cos(np.radians(angle)))

    t = 1 - 0.17 * cos(h - 30) + 0.24 * cos(2 * h) + 0.32 * cos(3 * h + 6) - 0.2 * cos(4 * h - 63)
    off = (middle - 50) ** 2
    sl, sc = 1 + 0.015 * off / np.sqrt(20 + off), 1 + 0.045 * chroma
    sh = 1 + 0.015 * chroma * t
    rc = 2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7))
    rt = -rc * np.sin(np.radians(60 * np.exp(-((((h % 360) - 275) / 25) ** 2))))
    l, c, s = dl / sl, dc / sc, dh / sh
    return float(np.sqrt(l * l + c * c + s * s + rt * c * s))


def distance(a: str, b: str, reader: FloatArray) -> float:
    """CIEDE2000 of two colours as a reader sees them."""
    return ciede2000(lab(reader @ linear(a)), lab(reader @ linear(b)))


def contrast(a: str, b: str) -> float:
    low, high = sorted(float(np.array([0.2126, 0.7152, 0.0722]) @ linear(c)) for c in (a, b))
    return (high + 0.05) / (low + 0.05)
