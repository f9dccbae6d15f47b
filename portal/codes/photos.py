"""Opening photographs that people send: small enough, whole, upright, in greys."""

from __future__ import annotations

import io
import struct
import zlib

import numpy as np
import numpy.typing as npt
from PIL import Image, ImageOps
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.WebPImagePlugin import WebPImageFile

GreyImage = npt.NDArray[np.uint8]

# Named through the modules that open them, which are thereby known to the library.
FORMATS = tuple(m.format for m in (JpegImageFile, PngImageFile, WebPImageFile))
LARGEST_BYTES = 25 * 1024 * 1024
LARGEST_PIXELS = 64_000_000
SMALLEST_SIDE = 12


class PhotoRefusedError(ValueError):
    """A file that is no readable photograph; the text says why and what to do."""


def open_photo(data: bytes) -> GreyImage:
    """The photograph as h × w grey values 0 (dark) to 255, turned upright as its EXIF orientation says.

    The size in the file's head is looked at before anything is unpacked: a small file that would unpack to a huge
    picture is refused.

    :raises PhotoRefusedError: empty, larger than 25 MB or 64 million pixels, another kind of file, damaged.
    """
    if not data:
        raise PhotoRefusedError("The file is empty: take the photo again.")
    if len(data) > LARGEST_BYTES:
        raise PhotoRefusedError(
            f"The photo has {len(data) / 1e6:.0f} MB; up to {LARGEST_BYTES / 1e6:.0f} MB are read."
        )
    try:
        return _opened(data)
    except PhotoRefusedError:
        raise
    except (Image.DecompressionBombError, Image.DecompressionBombWarning):
        raise PhotoRefusedError(f"The photo would unpack to more than {_limit()}: make it smaller.") from None
    except Image.UnidentifiedImageError:
        raise PhotoRefusedError("This is no photo that can be read: send JPEG, PNG or WebP.") from None
    # What decoders raise on damaged files, as found by spoiling files byte by byte.
    except (
        OSError,
        ValueError,
        SyntaxError,
        EOFError,
        struct.error,
        zlib.error,
        IndexError,
        KeyError,
        TypeError,
    ):
        raise PhotoRefusedError("The photo is damaged or not complete: send it again.") from None


def _opened(data: bytes) -> GreyImage:
    with Image.open(io.BytesIO(data), formats=FORMATS) as image:
        width, height = image.size
        if width * height > LARGEST_PIXELS:
            raise PhotoRefusedError(
                f"The photo has {width} × {height} pixels, more than {_limit()}: make it smaller."
            )
        if min(width, height) < SMALLEST_SIDE:
            raise PhotoRefusedError(f"The photo has {width} × {height} pixels: too few to hold a code.")
        image.load()
        upright = ImageOps.exif_transpose(image)
        return np.ascontiguousarray(np.asarray(_on_white(upright).convert("L"), dtype=np.uint8))


def _on_white(image: Image.Image) -> Image.Image:
    """A picture with see-through parts, laid on white paper; drawings of symbols often come so."""
    if image.mode not in ("RGBA", "LA", "PA") and "transparency" not in image.info:
        return image
    paper = Image.new("RGBA", image.size, "white")
    paper.alpha_composite(image.convert("RGBA"))
    return paper


def _limit() -> str:
    return f"{LARGEST_PIXELS // 1_000_000} million pixels"
