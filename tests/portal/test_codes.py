"""Symbols drawn and found again in photographs."""

import io
import struct
import zlib
from contextlib import suppress

import numpy as np
import pytest
from PIL import Image

from portal.calc.check_digits import has_valid_mod_11_10, mod_11_10
from portal.codes.photos import LARGEST_BYTES, PhotoRefusedError, open_photo
from portal.codes.reading import Found, read_codes, read_picture
from portal.codes.symbols import BoolArray, data_matrix, label_symbol, qr

TREES = ("AR-12-07", "SITE/3-1-044", "Åsen-12", "7", "a long code of a tree, 40 characters long.")


def drawn(modules: BoolArray, dots: int = 6, quiet: int = 4) -> np.ndarray:
    grey = np.where(np.pad(modules, quiet), 0, 255).astype(np.uint8)
    return np.kron(grey, np.ones((dots, dots), np.uint8))


def sent(picture: np.ndarray, kind: str = "PNG", **more: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(picture).save(out, kind, **more)
    return out.getvalue()


def ten_digits(number: int) -> str:
    return f"{number:09d}{mod_11_10(f'{number:09d}')}"


# symbols


def test_ten_digits_fill_twelve_modules() -> None:
    """ISO/IEC 16022: ten digits are 5 code words of digit pairs, the room of the 12 × 12 symbol (found in the
    standard's table of symbol sizes as published by libraries; value from memory, check against the licensed copy).
    The left and lower edges are dark, the upper and right ones alternate."""
    symbol = label_symbol("1646683858")
    assert symbol.shape == (12, 12)
    assert symbol[:, 0].all()
    assert symbol[-1, :].all()
    assert symbol[0, ::2].all()
    assert not symbol[0, 1::2].any()


@pytest.mark.parametrize("text", ["", "123", "164668385８", "16466838580", "abcdefghij"])
def test_a_label_takes_ten_digits_only(text: str) -> None:
    with pytest.raises(ValueError, match="ten digits"):
        label_symbol(text)


@pytest.mark.parametrize("draw", [qr, data_matrix])
@pytest.mark.parametrize("text", ["", "x" * 201])
def test_texts_that_no_symbol_is_made_of(draw: object, text: str) -> None:
    with pytest.raises(ValueError, match="1 to 200"):
        draw(text)  # type: ignore[operator]


@pytest.mark.parametrize("text", TREES)
@pytest.mark.parametrize(("draw", "symbology"), [(qr, "QR code"), (data_matrix, "Data Matrix")])
def test_codes_of_trees_are_read_again(text: str, draw: object, symbology: str) -> None:
    (found,) = read_codes(sent(drawn(draw(text))))  # type: ignore[operator]
    assert (found.text, found.symbology) == (text, symbology)


# several codes in one photo


def sheet_of(numbers: list[str], dots: int = 7) -> np.ndarray:
    return np.hstack([drawn(label_symbol(n), dots, 2) for n in numbers])


def test_several_codes_with_their_places() -> None:
    numbers = [ten_digits(n) for n in (164668385, 7, 999_999_999, 8191)]
    picture = np.pad(sheet_of(numbers), 30, constant_values=255)
    found = {code.text: code for code in read_picture(picture)}
    assert set(found) == set(numbers)
    xs = [found[n].middle[0] for n in numbers]
    assert np.allclose(np.diff(xs), 16 * 7, atol=3)
    assert abs(xs[0] - (30 + 8 * 7)) < 3
    corners = found[numbers[0]].corners
    assert np.allclose(corners, [(44, 44), (128, 44), (128, 128), (44, 128)], atol=4)


def test_corners_follow_the_symbol_when_the_photo_is_turned() -> None:
    picture = np.pad(drawn(label_symbol("1646683858")), 20, constant_values=255)
    (code,) = read_picture(np.ascontiguousarray(np.rot90(picture, 2)))
    assert code.corners[0][0] > code.corners[1][0]  # its top left lies to the right now


def test_small_codes_in_a_large_photo_are_found_in_windows() -> None:
    """A code of 18 pixels a side and much dirt of the same size: found only in an enlarged window."""
    rng = np.random.default_rng(5)
    picture = np.full((420, 600), 235, np.uint8)
    small = np.asarray(
        Image.fromarray(drawn(label_symbol("1646683858"), 10, 2)).resize((26, 26), Image.Resampling.BOX)
    )
    picture[200:226, 300:326] = small
    noisy = np.clip(picture + rng.normal(0, 4, picture.shape), 0, 255).astype(np.uint8)
    assert read_picture(noisy, enough=0) == []
    assert [c.text for c in read_picture(noisy, accept=has_valid_mod_11_10)] == ["1646683858"]
    (code,) = read_picture(noisy, accept=has_valid_mod_11_10)
    assert np.allclose(code.middle, (313, 213), atol=3)


def test_texts_that_cannot_be_right_are_left_out() -> None:
    picture = np.pad(
        np.hstack([drawn(data_matrix("1646683859")), drawn(label_symbol("1646683858"))]),
        20,
        constant_values=255,
    )
    assert len(read_picture(picture)) == 2
    assert [c.text for c in read_picture(picture, accept=has_valid_mod_11_10)] == ["1646683858"]


def test_a_picture_without_codes() -> None:
    assert read_codes(sent(np.full((200, 300), 200, np.uint8), "JPEG")) == []


def test_other_kinds_of_symbols_are_not_read() -> None:
    import zxingcpp

    strip = np.asarray(
        zxingcpp.create_barcode("4006381333931", zxingcpp.BarcodeFormat.EAN13).to_image(scale=3)
    )
    assert read_codes(sent(strip)) == []


# files


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP", "MPO"])
def test_kinds_of_photos(kind: str) -> None:
    picture = np.pad(drawn(label_symbol("1646683858")), 20, constant_values=255)
    colour = np.dstack([picture] * 3)
    assert [c.text for c in read_codes(sent(colour, kind))] == ["1646683858"]


def test_a_see_through_drawing_is_laid_on_white() -> None:
    picture = drawn(label_symbol("1646683858"))
    layered = np.dstack([np.zeros_like(picture)] * 3 + [255 - picture])
    assert [c.text for c in read_codes(sent(layered))] == ["1646683858"]


@pytest.mark.parametrize(("orientation", "turns"), [(1, 0), (3, 2), (6, 3), (8, 1)])
def test_the_camera_says_which_way_is_up(orientation: int, turns: int) -> None:
    """EXIF 2.3, tag 274 (found): 3 = turned by 180°, 6 = the stored picture needs 90° clockwise, 8 = 270°."""
    picture = np.zeros((60, 90), np.uint8)
    picture[:20, :30] = 255
    exif = Image.Exif()
    exif[274] = orientation
    upright = open_photo(sent(picture, "PNG", exif=exif))
    assert np.array_equal(upright, np.rot90(picture, turns))


def refused(data: bytes) -> str:
    with pytest.raises(PhotoRefusedError) as caught:
        open_photo(data)
    return str(caught.value)


def png_of_size(width: int, height: int) -> bytes:
    """A PNG whose head promises a picture of this size, with next to nothing behind it."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    rows = zlib.compress(b"\0" * 10_000)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", rows) + chunk(b"IEND", b"")


@pytest.mark.parametrize("size", [(9_000, 9_000), (30_000, 30_000), (2**31 - 1, 2**31 - 1), (64_000_001, 1)])
def test_small_files_that_would_unpack_to_huge_pictures(size: tuple[int, int]) -> None:
    data = png_of_size(*size)
    assert len(data) < 200
    assert "64 million pixels" in refused(data)


def test_files_that_are_no_photos() -> None:
    assert "empty" in refused(b"")
    assert "JPEG, PNG or WebP" in refused(b"board,log\n1,2\n")
    assert "JPEG, PNG or WebP" in refused(b"GIF89a" + b"\0" * 200)
    assert "JPEG, PNG or WebP" in refused(b"%PDF-1.7\n" + b"\0" * 200)
    assert "too few" in refused(sent(np.zeros((5, 400), np.uint8)))
    assert "26 MB" in refused(b"\xff\xd8" + b"\0" * LARGEST_BYTES)


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP"])
def test_damaged_photos_are_read_or_refused_in_words(kind: str) -> None:
    rng = np.random.default_rng(3)
    whole = sent(rng.integers(0, 255, (80, 90), dtype=np.uint8), kind)
    assert "damaged" in refused(whole[: len(whole) // 2])
    for _ in range(300):
        data = bytearray(whole)
        for place in rng.integers(0, len(data), 4):
            data[place] = rng.integers(0, 256)
        with suppress(PhotoRefusedError):  # anything else would be an error page
            assert open_photo(bytes(data)).dtype == np.uint8


def test_found_knows_its_middle() -> None:
    assert Found("x", ((0, 0), (4, 0), (4, 2), (0, 2)), "QR code").middle == (2, 1)
