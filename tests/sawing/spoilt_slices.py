"""Board ends cut from rendered label sheets at random and spoilt as in a mill: blur, noise, dirt, torn edges.

Everything is drawn apart from the code under test, but for the symbols themselves.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from portal.codes.symbols import label_symbol
from sawing.calc.label_code import LabelCode
from sawing.calc.label_lattice import DOT_MM


@dataclass(frozen=True)
class Spoiling:
    """Blur (standard deviation, mm), noise (standard deviation, grey values of 255), share of the face under
    blots of dirt, and how far edges are torn (mm)."""

    name: str
    blur_mm: float
    noise: float
    dirt: float
    torn_mm: float


MILD = Spoiling("mild", 0.09, 9, 0.04, 0.5)
HARSH = Spoiling("harsh", 0.16, 14, 0.12, 1.0)
RUINED = Spoiling("ruined", 0.26, 24, 0.3, 2.0)  # beyond what is promised: are misreadings accepted?
FINE = 12  # pixels a mm in which sheets are drawn before they are photographed


@dataclass(frozen=True)
class Cut:
    """A photographed board end, the codes that lie whole on it, and all of which some part does."""

    picture: np.ndarray
    whole: frozenset[str]
    there: frozenset[str]


def cut(
    rng: np.random.Generator,
    spoiling: Spoiling,
    *,
    pixels_per_mm: float = 6.0,
    dots: int = 7,
    thickness_mm: float = 25.0,
    width_mm: float = 100.0,
    skew_deg: float | None = None,
    serial: int | None = None,
) -> Cut:
    """One board end at a random place of a random sheet: at any skew to the sheet, or at the one given."""
    serial = int(rng.integers(1, 100_000)) if serial is None else serial
    end = int(rng.integers(0, 2))
    skew = float(rng.uniform(0, 360)) if skew_deg is None else skew_deg
    face, whole, there = _face(rng, serial, end, dots, thickness_mm, width_mm, skew, spoiling)
    face = _dirty(rng, face, spoiling)
    return Cut(_photographed(rng, face, spoiling, pixels_per_mm), whole, there)


def _face(
    rng: np.random.Generator,
    serial: int,
    end: int,
    dots: int,
    t: float,
    w: float,
    skew: float,
    spoiling: Spoiling,
) -> tuple[Image.Image, frozenset[str], frozenset[str]]:
    """The board's end seen square on: codes at their places, wood or dirt where edges are torn off."""
    pitch = 14 * dots * DOT_MM
    turn = math.radians(skew)
    row0, col0 = rng.uniform(12, 48, 2)  # the board's middle, in cells
    ys, xs = np.mgrid[0 : round(t * FINE), 0 : round(w * FINE)]
    u, v = (xs + 0.5) / FINE - w / 2, (ys + 0.5) / FINE - t / 2
    col = (u * math.cos(turn) - v * math.sin(turn)) / pitch + col0
    row = (u * math.sin(turn) + v * math.cos(turn)) / pitch + row0
    # A cell's symbol begins one module in from its edge and is twelve wide.
    x = np.floor((col - np.floor(col)) * 14).astype(int) - 1
    y = np.floor((row - np.floor(row)) * 14).astype(int) - 1
    rows, cols = np.floor(row).astype(int), np.floor(col).astype(int)
    table = np.zeros((64, 64, 12, 12), bool)
    whole, there = [], []
    for at in np.unique(rows.clip(0, 63) * 64 + cols.clip(0, 63)).tolist():
        r, c = divmod(at, 64)
        text = LabelCode(serial, end, r, c).text
        table[r, c] = label_symbol(text)
        there.append(text)
        corners = [
            ((c + a - col0) * pitch, (r + b - row0) * pitch)
            for a in (1 / 14, 13 / 14)
            for b in (1 / 14, 13 / 14)
        ]
        if all(
            abs(cu * math.cos(turn) + cv * math.sin(turn)) <= w / 2
            and abs(cv * math.cos(turn) - cu * math.sin(turn)) <= t / 2 - spoiling.torn_mm
            for cu, cv in corners
        ):
            whole.append(text)
    on = (x >= 0) & (x < 12) & (y >= 0) & (y < 12) & (rows >= 0) & (rows < 64) & (cols >= 0) & (cols < 64)
    paper = np.full(rows.shape, 255.0)
    paper[on] = np.where(table[rows[on], cols[on], y[on], x[on]], 20.0, 255.0)
    _tear(rng, paper, spoiling.torn_mm)
    return Image.fromarray(paper.astype(np.uint8)), frozenset(whole), frozenset(there)


def _tear(rng: np.random.Generator, paper: np.ndarray, torn_mm: float) -> None:
    """Ragged wood along both long edges, up to so many mm deep."""
    height, width = paper.shape
    for upper in (True, False):
        knots = rng.uniform(0, torn_mm * FINE, width // 20 + 2)
        depth = np.interp(np.arange(width), np.arange(len(knots)) * 20, knots)
        rows = np.arange(height)[:, None] if upper else height - 1 - np.arange(height)[:, None]
        torn = rows < depth[None, :]
        paper[torn] = rng.normal(150, 20, int(torn.sum())).clip(60, 230)


def _dirty(rng: np.random.Generator, face: Image.Image, spoiling: Spoiling) -> Image.Image:
    """Blots of sawdust, resin and earth until their share of the face is reached."""
    draw = ImageDraw.Draw(face)
    mask = Image.new("1", face.size)
    over = ImageDraw.Draw(mask)
    for blot in range(10_000):
        if blot % 4 == 0 and np.asarray(mask).mean() >= spoiling.dirt:
            break
        x, y = rng.uniform(0, face.size[0]), rng.uniform(0, face.size[1])
        a, b = rng.uniform(0.3, 2.5, 2) * FINE
        grey = int(rng.integers(40, 215))
        for pen, fill in ((draw, grey), (over, 1)):
            pen.ellipse((x - a, y - b, x + a, y + b), fill=fill)
    return face


def _photographed(
    rng: np.random.Generator, face: Image.Image, spoiling: Spoiling, pixels_per_mm: float
) -> np.ndarray:
    """The face held at a small angle before something darker, slightly in perspective, blurred, with noise."""
    scale = pixels_per_mm / FINE
    small = (face.size[0] * scale, face.size[1] * scale)
    room = int(math.hypot(*small)) + 20
    turn = math.radians(rng.uniform(0, 360))
    corners = []
    for x, y in ((-0.5, -0.5), (-0.5, 0.5), (0.5, 0.5), (0.5, -0.5)):
        px, py = x * small[0], y * small[1]
        px, py = px * math.cos(turn) - py * math.sin(turn), px * math.sin(turn) + py * math.cos(turn)
        shrink = 1 + rng.uniform(-0.02, 0.02)
        corners.append((room / 2 + px * shrink, room / 2 + py * shrink))
    w, h = face.size
    blurred = face.filter(ImageFilter.GaussianBlur(spoiling.blur_mm * FINE))
    warped = blurred.transform(
        (room, room), Image.Transform.PERSPECTIVE, _perspective(corners, [(0, 0), (0, h), (w, h), (w, 0)]),
        Image.Resampling.BICUBIC, fillcolor=110,
    )  # fmt: skip
    grey = np.asarray(warped, dtype=float) * 0.8 + 20 + rng.normal(0, spoiling.noise, (room, room))
    return grey.clip(0, 255).astype(np.uint8)


def _perspective(target: list[tuple[float, float]], source: list[tuple[float, float]]) -> list[float]:
    """Coefficients that map points of the photograph to points of the face."""
    rows, values = [], []
    for (x, y), (u, v) in zip(target, source, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        values += [u, v]
    return [float(c) for c in np.linalg.solve(np.array(rows), np.array(values))]
