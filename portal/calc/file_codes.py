"""Codes, texts and choices as people type them and as spreadsheets mangle them."""

import datetime as dt
import re
import unicodedata
from typing import NamedTuple

from portal.calc.file_spec import Column, header_key

LONGEST_CODE = 64
LONGEST_TEXT = 400
LARGEST_EXACT = 2**53

CLEAN_CODE = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9._-]{0,62}[A-Za-z0-9])?")
SHORTENED = re.compile(r"[0-9](?:[.,][0-9]+)?E\+[0-9]+")
GUARDED = re.compile(r"'[=+\-@\t\r]")
SPREADSHEET_ERRORS = frozenset(
    {"#N/A", "#DIV/0!", "#REF!", "#VALUE!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#CALC!"}
)
CODE = "a code of letters and digits"
LOST = "a spreadsheet has lost digits of this one: format the column as text"
DATED = "a spreadsheet made a date of this one: format the column as text"
CUT = "a spreadsheet has shortened this one: format the column as text"


class TextRead(NamedTuple):
    """A text understood, or what is expected instead; both None for a blank cell."""

    value: str | None = None
    expected: str | None = None


def read_code(cell: object, column: Column) -> TextRead:
    """A code: spaces trimmed and collapsed, a spreadsheet's number without ".0". Never raises."""
    if isinstance(cell, str):
        return TextRead(cell) if CLEAN_CODE.fullmatch(cell) else _typed_code(cell)
    if isinstance(cell, int | float):
        if cell != cell or abs(cell) >= LARGEST_EXACT:
            return TextRead(expected=f"{CODE}; {LOST}")
        return TextRead(str(int(cell)) if cell == int(cell) else repr(float(cell)))
    if isinstance(cell, dt.date | dt.time):
        return TextRead(expected=f"{CODE}; {DATED}")
    return TextRead(expected=CODE)


def _typed_code(cell: str) -> TextRead:
    text = " ".join(unicodedata.normalize("NFC", cell).split())
    if not text:
        return TextRead()
    if text in SPREADSHEET_ERRORS:
        return TextRead(expected=f"{CODE}; this is a spreadsheet error")
    text = without_guard(text)
    if text.startswith("="):
        return TextRead(expected=f"{CODE}, not a formula")
    if any(part in ("", ".", "..") for part in text.split("/")):
        return TextRead(expected=f"{CODE}, with something between its slashes that is more than dots")
    if SHORTENED.fullmatch(text):
        return TextRead(expected=f"{CODE}; {CUT}")
    strange = strange_character(text)
    if strange:
        return TextRead(expected=f"{CODE}, without {strange}")
    if len(text) > LONGEST_CODE:
        return TextRead(expected=f"{CODE} of at most {LONGEST_CODE} characters (this has {len(text)})")
    return TextRead(text)


def without_guard(text: str) -> str:
    """The text without the apostrophe that keeps a spreadsheet from running it (our downloads set it)."""
    return text[1:] if GUARDED.match(text) else text


def read_text(cell: object, column: Column) -> TextRead:
    """A free text, trimmed; as long as the column's maximum, else 400 characters. Never raises."""
    text = without_guard(plain_text(cell).replace("\r\n", "\n").replace("\xa0", " ").strip())
    if not text:
        return TextRead()
    strange = strange_character(text.replace("\n", " ").replace("\t", " "))
    if strange:
        return TextRead(expected=f"text without {strange}")
    longest = int(column.maximum) if column.maximum is not None else LONGEST_TEXT
    if len(text) > longest:
        return TextRead(expected=f"at most {longest} characters (this has {len(text)})")
    return TextRead(unicodedata.normalize("NFC", text))


def read_choice(cell: object, column: Column) -> TextRead:
    """One of the column's choices, whatever its case, spaces, hyphens or underscores. Never raises."""
    text = plain_text(cell).strip()
    if not text:
        return TextRead()
    for choice in column.choices:
        if header_key(choice) == header_key(text):
            return TextRead(choice)
    return TextRead(expected="one of: " + ", ".join(column.choices))


def strange_character(text: str) -> str | None:
    """The first character nobody can see or type, in words; None without any."""
    if text.isascii() and text.isprintable():
        return None
    for character in text:
        category = unicodedata.category(character)
        if character == "\ufffd":
            return "the sign � (a letter was lost in an earlier conversion)"
        if category in ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"):
            return f"the invisible character U+{ord(character):04X}"
    return None


def plain_text(cell: object) -> str:
    """A raw cell as the text a person would type for it: no ".0", dates as year-month-day, blank for None."""
    if cell is None:
        return ""
    if isinstance(cell, dt.datetime):
        midnight = cell.time() == dt.time()
        return cell.date().isoformat() if midnight else cell.isoformat(" ", "seconds")
    if isinstance(cell, dt.date):
        return cell.isoformat()
    if isinstance(cell, float):
        return str(int(cell)) if cell.is_integer() and abs(cell) < LARGEST_EXACT else repr(cell)
    return str(cell)
