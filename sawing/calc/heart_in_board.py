"""How much heartwood a board shows on its end, and where across, from its place on the log end. In mm from the pith."""

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


def heart_span(
    middle: tuple[float, float],
    half: tuple[float, float],
    heart_radii: tuple[float, float],
    angle_deg: float = 0.0,
) -> tuple[float, float]:
    """From where to where across its width a board is heartwood through its whole thickness.

    :param middle: of the board's end; `half` its half width and half thickness, its width turned by `angle_deg`
        anticlockwise from x; `heart_radii` of the heartwood's ellipse along x and y.
    :returns: mm from the edge the width begins at; (0, 0) where no line through the thickness is all heartwood.
    :raises ValueError: half sizes not above 0, radii below 0.

    The ellipse is convex, so a line through the thickness lies in it when both its ends do: the span is what the
    chords along both faces have in common (computed).
    """
    if not (half[0] > 0 and half[1] > 0) or not (heart_radii[0] >= 0 and heart_radii[1] >= 0):
        raise ValueError("a rectangle needs half sizes above 0, heartwood radii of at least 0")
    if heart_radii[0] == 0 or heart_radii[1] == 0:
        return 0.0, 0.0
    turn = math.radians(angle_deg)
    across = math.cos(turn) / heart_radii[0], math.sin(turn) / heart_radii[1]
    low, high = -half[0], half[0]
    for side in (-half[1], half[1]):
        start = (
            (middle[0] - side * math.sin(turn)) / heart_radii[0],
            (middle[1] + side * math.cos(turn)) / heart_radii[1],
        )
        square, linear = across[0] ** 2 + across[1] ** 2, start[0] * across[0] + start[1] * across[1]
        inside = linear**2 - square * (start[0] ** 2 + start[1] ** 2 - 1)
        if inside <= 0:
            return 0.0, 0.0
        low = max(low, (-linear - math.sqrt(inside)) / square)
        high = min(high, (-linear + math.sqrt(inside)) / square)
    return (low + half[0], high + half[0]) if high > low else (0.0, 0.0)
