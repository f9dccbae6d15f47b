"""How much heartwood a board's end shows, from its place on the log end. Sizes in mm from the pith."""

from __future__ import annotations

import math

import numpy as np

LINES = 60


def heart_share(
    middle: tuple[float, float],
    half: tuple[float, float],
    heart_radii: tuple[float, float],
    angle_deg: float = 0.0,
) -> float:
    """Share of a rectangle's area that lies in the heartwood's ellipse about the pith, 0 to 1.

    :param middle: of the rectangle; `half` its half width and half height, turned by `angle_deg` anticlockwise.
    Midpoint rule on a grid of 60 × 60 points: to about a hundredth. Raises ValueError for a size that is not above 0;
    heartwood of radius 0 gives 0.
    """
    if not (half[0] > 0 and half[1] > 0) or not (heart_radii[0] >= 0 and heart_radii[1] >= 0):
        raise ValueError("a rectangle needs half sizes above 0, heartwood radii of at least 0")
    if heart_radii[0] == 0 or heart_radii[1] == 0:
        return 0.0
    steps = (np.arange(LINES) + 0.5) / LINES * 2 - 1
    u, v = np.meshgrid(steps * half[0], steps * half[1])
    turn = math.radians(angle_deg)
    x = middle[0] + u * math.cos(turn) - v * math.sin(turn)
    y = middle[1] + u * math.sin(turn) + v * math.cos(turn)
    return float(np.mean((x / heart_radii[0]) ** 2 + (y / heart_radii[1]) ** 2 <= 1.0))
