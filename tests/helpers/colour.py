"""Colours as different readers see them."""

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


def distance(a: str, b: str, reader: FloatArray) -> float:
    return float(np.linalg.norm(lab(reader @ linear(a)) - lab(reader @ linear(b))))


def contrast(a: str, b: str) -> float:
    low, high = sorted(float(np.array([0.2126, 0.7152, 0.0722]) @ linear(c)) for c in (a, b))
    return (high + 0.05) / (low + 0.05)
