"""Symbols as squares of dark and light modules, without their quiet zone."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt
import zxingcpp

BoolArray = npt.NDArray[np.bool_]

LABEL_MODULES = (
    12  # ten digits fill Data Matrix 12 × 12 exactly: 5 code words, 7 for correction (ISO/IEC 16022)
)
QUIET_MODULES = {"data matrix": 1, "qr": 4}  # least light margin around the symbol, in modules
LONGEST_TEXT = 200


@lru_cache(maxsize=20_000)
def _modules(kind: str, text: str) -> bytes:
    if not text or len(text) > LONGEST_TEXT:
        raise ValueError(f"a symbol holds 1 to {LONGEST_TEXT} characters, not {len(text)}")
    if kind == "qr":
        # Level Q mends a quarter of the symbol: tags scratch and get dirty.
        symbol = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.QRCode, ec_level="Q")
    else:
        symbol = zxingcpp.create_barcode(text, zxingcpp.BarcodeFormat.DataMatrix, force_square=True)
    light = np.asarray(symbol.to_image(scale=1, add_quiet_zones=False))
    return bytes((light < 128).astype(np.uint8).tobytes())


def _square(kind: str, text: str) -> BoolArray:
    flat = np.frombuffer(_modules(kind, text), dtype=np.uint8).astype(bool)
    side = round(flat.size**0.5)
    return flat.reshape(side, side)


def label_symbol(digits: str) -> BoolArray:
    """Data Matrix of a label's ten digits: 12 × 12 modules, True is dark, first row on top.

    :raises ValueError: unless the text is ten digits 0 to 9.
    :source: ISO/IEC 16022 (Data Matrix, ECC 200), drawn by the zxing-cpp library.
    """
    if not (len(digits) == 10 and digits.isascii() and digits.isdigit()):
        raise ValueError(f"{digits!r}: a label's symbol holds ten digits")
    return _square("data matrix", digits)


def data_matrix(text: str) -> BoolArray:
    """Data Matrix (square) of any text of 1 to 200 characters: n × n modules, True is dark.

    :raises ValueError: for an empty or a longer text.
    """
    return _square("data matrix", text)


def qr(text: str) -> BoolArray:
    """QR code of any text of 1 to 200 characters, at least with error correction Q: n × n modules, True is dark.

    :raises ValueError: for an empty or a longer text.
    :source: ISO/IEC 18004 (QR code), drawn by the zxing-cpp library.
    """
    return _square("qr", text)
