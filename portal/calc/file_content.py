"""What a file really is, whatever its name says: text, spreadsheet, or something nobody can read here."""

import codecs
import re

from portal.calc.file_table import refuse

SAVE_AS = "a CSV (UTF-8) or XLSX file; open it in a spreadsheet program and save it as one of these"

SIGNATURES: tuple[tuple[bytes, str], ...] = (
    (b"\x89PNG\r\n", "a PNG image"),
    (b"\xff\xd8\xff", "a JPEG image"),
    (b"GIF87a", "a GIF image"),
    (b"GIF89a", "a GIF image"),
    (b"II*\x00", "a TIFF image"),
    (b"MM\x00*", "a TIFF image"),
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"BZh", "a bzip2 archive"),
    (b"\xfd7zXZ\x00", "an xz archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"Rar!\x1a\x07", "a RAR archive"),
    (b"SQLite format 3\x00", "a database file"),
    (b"{\\rtf", "a rich-text document"),
)

OLD_CONTAINER = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
ZIP_STARTS = (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08")

# Letters and signs of Western European tables beyond ASCII; anything else makes Windows-1252 a wild guess.
WESTERN_SIGNS = frozenset("°²³µ§€£–—‘’“”„…·ºª½¼¾±×«»\xa0´¨™®©‰•")
UNDEFINED_IN_CP1252 = frozenset(b"\x81\x8d\x8f\x90\x9d")
MOST_HIGH_BYTES = 0.3


def is_spreadsheet(data: bytes, file: str) -> bool:
    """True for a ZIP container (perhaps XLSX), False for what may be text; refuses everything else."""
    if data.startswith(ZIP_STARTS):
        return True
    if data.startswith(OLD_CONTAINER):
        _refuse_old_container(data, file)
    for signature, what in SIGNATURES:
        if data.startswith(signature):
            refuse(file, f"{what}, whatever its name says", SAVE_AS)
    if data[4:8] == b"ftyp" or (data.startswith(b"RIFF") and data[8:12] in (b"WEBP", b"AVI ", b"WAVE")):
        refuse(file, "an image, sound or video file, whatever its name says", SAVE_AS)
    return False


def _refuse_old_container(data: bytes, file: str) -> None:
    """Old .xls and password-protected .xlsx share one container; its directory names are in UTF-16."""
    if "EncryptedPackage".encode("utf-16-le") in data:
        refuse(file, "a password-protected workbook", "a file without password: remove it and save again")
    refuse(file, "an old binary Office file (.xls before 2007, or another)", SAVE_AS)


def decode(data: bytes, file: str) -> tuple[str, tuple[str, ...]]:
    """The text of a file and notes about its encoding; refuses what is not text.

    UTF-8 with or without byte-order mark, UTF-16 and UTF-32 with one; Windows-1252 only where the bytes are
    no UTF-8 and read plausibly, with a note.
    """
    for mark, encoding in (
        (codecs.BOM_UTF8, "utf-8"),
        (codecs.BOM_UTF32_LE, "utf-32-le"),  # before UTF-16: its mark begins with that of UTF-16
        (codecs.BOM_UTF32_BE, "utf-32-be"),
        (codecs.BOM_UTF16_LE, "utf-16-le"),
        (codecs.BOM_UTF16_BE, "utf-16-be"),
    ):
        if data.startswith(mark):
            return _checked(_strictly(data[len(mark) :], encoding, file), file), ()
    if b"\x00" in data:
        _refuse_zero_bytes(data, file)
    try:
        return _checked(data.decode("utf-8"), file), ()
    except UnicodeDecodeError as error:
        return _western(data, error.start, file)


def _strictly(data: bytes, encoding: str, file: str) -> str:
    try:
        return data.decode(encoding)
    except UnicodeDecodeError:
        refuse(
            file, f"bytes that are not {encoding.upper()}, as the file claims", "a CSV file saved as UTF-8"
        )


def _refuse_zero_bytes(data: bytes, file: str) -> None:
    even, odd = data[:4000:2].count(0), data[1:4000:2].count(0)
    if max(even, odd) > 4 * min(even, odd) and even + odd > len(data[:4000]) // 4:
        refuse(file, "text in UTF-16 without a byte-order mark", "a CSV file saved as UTF-8")
    refuse(file, "zero bytes: not a text file, or a damaged one", SAVE_AS)


def _western(data: bytes, position: int, file: str) -> tuple[str, tuple[str, ...]]:
    """Windows-1252 where plausible; else refuse, naming the line of the first byte that is no UTF-8."""
    row = data.count(b"\n", 0, position) + 1
    advice = "a CSV file saved as UTF-8 (in the spreadsheet program: save as “CSV UTF-8”)"
    high = [byte for byte in data if byte >= 0x80]
    if UNDEFINED_IN_CP1252.intersection(high) or len(high) > MOST_HIGH_BYTES * len(data):
        refuse(file, "bytes that are no text in a known encoding", advice, row)
    if re.search(rb"[\xc3-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}", data):
        refuse(file, "two text encodings mixed in one file", advice, row)
    text = data.decode("cp1252")
    signs = [sign for sign in text if ord(sign) >= 0x80]
    known = sum(sign.isalpha() or sign in WESTERN_SIGNS for sign in signs)
    if known < 0.9 * len(signs):
        refuse(file, "bytes that are no text in a known encoding", advice, row)
    note = f"not UTF-8: read as Windows-1252 (first such letter in row {row}); check names with accents"
    return _checked(text, file), (note,)


def _checked(text: str, file: str) -> str:
    """The text without a leading byte-order mark; refuses text of mostly control characters, and markup."""
    controls = len(re.findall(r"[\x00-\x08\x0b\x0e-\x1f\x7f]", text))
    if "\x00" in text or controls > max(2, len(text) // 100):
        refuse(file, "control characters instead of text", SAVE_AS)
    if re.match(r"\s*<(!doctype|html|table|\?xml|meta|head|body)\b", text[:2000], re.IGNORECASE):
        refuse(file, "a web page or XML document, whatever its name says", SAVE_AS)
    return text.removeprefix("\ufeff")
