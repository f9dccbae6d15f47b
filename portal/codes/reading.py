"""Finding codes in photographs: the whole picture first, then enlarged windows that overlap."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
import zxingcpp
from PIL import Image

from portal.codes.photos import GreyImage, open_photo

FORMATS = (
    zxingcpp.BarcodeFormat.DataMatrix,
    zxingcpp.BarcodeFormat.QRCode,
    zxingcpp.BarcodeFormat.MicroQRCode,
)
SYMBOLOGIES = {"DataMatrix": "Data Matrix", "QRCode": "QR code", "MicroQRCode": "Micro QR code"}
Corner = tuple[float, float]

# Windows: sides in shares of the shorter side of the picture, how much each is enlarged.
PASSES = ((1.0, 2.0), (1.0, 3.0), (0.5, 3.0), (0.25, 3.0))
MOST_WINDOWS = 80
LARGEST_WINDOW = 2_400  # pixels a side, enlarged: bounds time and memory whatever the picture


@dataclass(frozen=True)
class Found:
    """A code in a photograph: its text, its four corners in pixels of the upright picture (x to the right, y down;
    the symbol's own top left, top right, bottom right, bottom left), and its kind of symbol."""

    text: str
    corners: tuple[Corner, Corner, Corner, Corner]
    symbology: str

    @property
    def middle(self) -> Corner:
        return sum(x for x, _ in self.corners) / 4, sum(y for _, y in self.corners) / 4


def read_codes(
    data: bytes, *, accept: Callable[[str], bool] = bool, enough: int | None = None
) -> list[Found]:
    """Every code in a photograph (JPEG, PNG, WebP), each text once, in the order in which they were found.

    :param accept: whether a text can be right at all, e.g. by its check digit; others are not even counted.
    :param enough: after so many codes enlarged windows are no longer looked at; None: until all are done.
    :raises PhotoRefusedError: when the file is no readable photograph (portal.codes.photos.open_photo).
    """
    return read_picture(open_photo(data), accept=accept, enough=enough)


def read_picture(
    picture: GreyImage, *, accept: Callable[[str], bool] = bool, enough: int | None = None
) -> list[Found]:
    """The same for a picture of h × w grey values."""
    found = {code.text: code for code in _read(picture, 0, 0, 1.0) if accept(code.text)}
    for left, top, side_x, side_y, scale in _windows(picture.shape[1], picture.shape[0]):
        if enough is not None and len(found) >= enough:
            break
        part = picture[top : top + side_y, left : left + side_x]
        size = (round(side_x * scale), round(side_y * scale))
        larger = np.asarray(Image.fromarray(part).resize(size, Image.Resampling.BICUBIC))
        for code in _read(larger, left, top, scale):
            if accept(code.text):
                found.setdefault(code.text, code)
    return list(found.values())


def _read(picture: GreyImage, left: int, top: int, scale: float) -> Iterator[Found]:
    for code in zxingcpp.read_barcodes(picture, formats=FORMATS):
        if not code.valid or not code.text:
            continue
        at = code.position
        points = (at.top_left, at.top_right, at.bottom_right, at.bottom_left)
        a, b, c, d = ((left + p.x / scale, top + p.y / scale) for p in points)
        yield Found(code.text, (a, b, c, d), SYMBOLOGIES.get(code.format.name, code.format.name))


def _windows(width: int, height: int) -> Iterator[tuple[int, int, int, int, float]]:
    """(left, top, width, height, enlargement) of the windows, larger ones first, half a window apart."""
    given = 0
    for share, scale in PASSES:
        side = max(48, round(min(width, height) * share))
        scale = min(scale, LARGEST_WINDOW / side)
        if scale <= 1.0:
            continue
        for top in _steps(height, side):
            for left in _steps(width, side):
                yield left, top, min(side, width), min(side, height), scale
                given += 1
                if given >= MOST_WINDOWS:
                    return


def _steps(length: int, side: int) -> list[int]:
    """Where windows of a side begin so that neighbours overlap by about half and the last ends at the edge."""
    if length <= side:
        return [0]
    count = -(-2 * (length - side) // side) + 1
    return [round(i * (length - side) / (count - 1)) for i in range(count)]
