"""Codes of labels in a photograph: only those whose check digit fits."""

from __future__ import annotations

from portal.codes.photos import GreyImage
from portal.codes.reading import Found, read_codes, read_picture
from sawing.calc.label_code import LabelCode, LabelCodeError, decode

ENOUGH = 4  # so many codes place a board well; with fewer, enlarged windows are looked at too


def is_label(text: str) -> bool:
    """Whether a text is the ten digits of a label, check digit included, and in the form a symbol holds them."""
    try:
        return decode(text).text == text
    except LabelCodeError:
        return False


def labels_in_photo(data: bytes) -> list[tuple[LabelCode, Found]]:
    """Labels in a photograph (JPEG, PNG, WebP), with where they stand in it.

    :raises PhotoRefusedError: when the file is no readable photograph.
    """
    return [(decode(code.text), code) for code in read_codes(data, accept=is_label, enough=ENOUGH)]


def labels_in_picture(picture: GreyImage) -> list[tuple[LabelCode, Found]]:
    """The same for a picture of grey values."""
    return [(decode(code.text), code) for code in read_picture(picture, accept=is_label, enough=ENOUGH)]
