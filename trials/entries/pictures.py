"""Photos as they come from a phone: looked at, made small enough, and written anew without what they carry along.

What is stored is a JPEG of our own making: nothing of the file that came is kept but its pixels, so neither the
place and the device that cameras note (EXIF, XMP, comments), nor anything hidden behind the picture.
"""

import io
import warnings
from dataclasses import dataclass

from PIL import Image, ImageOps, UnidentifiedImageError

from trials.models import MOST_PHOTO_BYTES

MOST_SENT_BYTES = 8 * 1024 * 1024
MOST_PIXELS = 60_000_000
LONG_SIDE_PX, SMALL_SIDE_PX = 1600, 320
FORMATS = ("JPEG", "PNG", "WEBP")
QUALITIES = (85, 70, 50, 30)
TOO_MANY = f"photo: found more pixels than can be looked at, expected at most {MOST_PIXELS}"
NO_PICTURE = "photo: found no picture, expected a JPEG, PNG or WebP"


class PhotoRefusedError(ValueError):
    """This cannot be stored as a photo; the message says why, for a person."""


@dataclass(frozen=True)
class Picture:
    """A photo ready to be stored: JPEG of at most 1600 px, the same of at most 320 px, size of the first in px."""

    content: bytes
    small: bytes
    width_px: int
    height_px: int


def read_picture(data: bytes) -> Picture:
    """The picture in these bytes, upright, written anew.

    :raises PhotoRefusedError: empty, beyond 8 MiB or 60 million pixels, no picture of a known format, or broken.
    """
    if not data:
        raise PhotoRefusedError("photo: found nothing, expected a picture")
    if len(data) > MOST_SENT_BYTES:
        raise PhotoRefusedError(f"photo: found {len(data)} bytes, expected at most {MOST_SENT_BYTES}")
    # Pillow warns of pictures that unfold beyond reason; here that is a refusal.
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            return _written(_opened(data))
        except PhotoRefusedError:
            raise
        except (
            UnidentifiedImageError,
            Image.DecompressionBombError,
            OSError,
            SyntaxError,
            ValueError,
            Warning,
        ):
            raise PhotoRefusedError(NO_PICTURE) from None


def _opened(data: bytes) -> Image.Image:
    image: Image.Image = Image.open(io.BytesIO(data), formats=FORMATS)
    width, height = image.size
    if width * height > MOST_PIXELS:
        raise PhotoRefusedError(TOO_MANY)
    image.draft("RGB", (LONG_SIDE_PX, LONG_SIDE_PX))  # a large JPEG is read at half or a quarter of its size
    return image


def _written(image: Image.Image) -> Picture:
    upright = ImageOps.exif_transpose(image).convert("RGB")
    upright.thumbnail((LONG_SIDE_PX, LONG_SIDE_PX))
    # A new image holds pixels and nothing else.
    clean = Image.new("RGB", upright.size)
    clean.paste(upright)
    small = clean.copy()
    small.thumbnail((SMALL_SIDE_PX, SMALL_SIDE_PX))
    content = next(
        (made for made in (_jpeg(clean, quality) for quality in QUALITIES) if len(made) <= MOST_PHOTO_BYTES),
        None,
    )
    if content is None:
        raise PhotoRefusedError("photo: too large even when made small")
    return Picture(content, _jpeg(small, 75), *clean.size)


def _jpeg(image: Image.Image, quality: int) -> bytes:
    out = io.BytesIO()
    image.save(out, "JPEG", quality=quality, optimize=True)
    return out.getvalue()
