"""The ten digits in every symbol of a label sheet: which log, which end of it, which cell of the sheet.

N = ((log serial · 2 + end) · 64 + row) · 64 + column, written with nine digits, and the check digit ISO/IEC 7064
MOD 11,10 behind it. The layout of the number is our own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from portal.calc.check_digits import has_valid_mod_11_10, mod_11_10

CELLS = 64
HIGHEST_SERIAL = 99_999
BUTT, TOP = 0, 1
END_LETTERS = "BT"
END_WORDS = ("butt", "top")
_CELL = re.compile(r"([BT])-(\d{1,2})-(\d{1,2})")


class LabelCodeError(ValueError):
    """What was read, typed or asked for is no code of a label; the text says what is wrong with it."""


@dataclass(frozen=True)
class LabelCode:
    """One symbol's content: serial number of the log (1 to 99 999), end (0 butt, 1 top), row and column (0 to 63).

    :raises LabelCodeError: for a part outside its range.
    """

    serial: int
    end: int
    row: int
    col: int

    def __post_init__(self) -> None:
        for name, value, low, high in (
            ("serial number", self.serial, 1, HIGHEST_SERIAL),
            ("end", self.end, BUTT, TOP),
            ("row", self.row, 0, CELLS - 1),
            ("column", self.col, 0, CELLS - 1),
        ):
            if not low <= value <= high:
                raise LabelCodeError(f"{name} {value}: a label holds {low} to {high}")

    @property
    def text(self) -> str:
        """The ten digits."""
        number = ((self.serial * 2 + self.end) * CELLS + self.row) * CELLS + self.col
        return f"{number:09d}{mod_11_10(f'{number:09d}')}"

    @property
    def cell(self) -> str:
        """End, row and column as tallies write them: B-15-33."""
        return f"{END_LETTERS[self.end]}-{self.row:02d}-{self.col:02d}"

    @property
    def end_word(self) -> str:
        return END_WORDS[self.end]


def encode(serial: int, end: int, row: int, col: int) -> str:
    """The ten digits for a log, an end and a cell. Raises LabelCodeError for a part outside its range."""
    return LabelCode(serial, end, row, col).text


def decode(text: str) -> LabelCode:
    """What ten digits mean. Blanks and hyphens between digits, as people write long numbers, do not count.

    :raises LabelCodeError: anything but ten digits 0 to 9, a wrong check digit, a number that stands for no log.
    """
    digits = re.sub(r"[\s-]+", "", text)
    if not (digits.isascii() and digits.isdigit()):
        raise LabelCodeError(f"“{_short(text)}”: a label's code is ten digits")
    if len(digits) != 10:
        raise LabelCodeError(f"“{_short(text)}” has {len(digits)} digits: a label's code has ten")
    if not has_valid_mod_11_10(digits):
        raise LabelCodeError(f"“{digits}”: the check digit does not fit, a digit is wrong")
    rest, col = divmod(int(digits[:9]), CELLS)
    rest, row = divmod(rest, CELLS)
    serial, end = divmod(rest, 2)
    if not 1 <= serial <= HIGHEST_SERIAL:
        raise LabelCodeError(f"“{digits}” stands for log number {serial}: labels hold 1 to {HIGHEST_SERIAL}")
    return LabelCode(serial, end, row, col)


def read_cell(text: str) -> tuple[int, int, int]:
    """(end, row, column) of a cell as tallies write it: B-15-33. Raises LabelCodeError for anything else."""
    found = _CELL.fullmatch(text.strip().upper())
    if found is None or int(found[2]) >= CELLS or int(found[3]) >= CELLS:
        raise LabelCodeError(f"“{_short(text)}”: expected end, row and column of a cell, as in B-15-33")
    return END_LETTERS.index(found[1]), int(found[2]), int(found[3])


def _short(text: str) -> str:
    return text if len(text) <= 40 else f"{text[:40]}…"
