"""A picture that somebody sends: looked at, drawn anew as a plain JPEG of bounded size, and nothing else of it is kept.

Drawn anew, a file holds what was to be seen and no more: no script hidden in it, no place where it was taken, no colour
profile, no comment. Lengths are pixels, amounts bytes.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from io import BytesIO
from typing import Any

from diestore.texts import gettext as _

BYTES_AT_MOST = 15_000_000  # of the file as it is sent
LONGEST = 1_600  # of a side, as it is kept
SMALL = 320  # of a side of the small one for lists
QUALITY, SMALL_QUALITY = 82, 75
# Of the picture as it is sent. A JPEG is decoded at an eighth, a quarter or a half of its size where that is enough;
# others are unpacked whole, four bytes a pixel.
PIXELS_AT_MOST = {"JPEG": 64_000_000, "MPO": 64_000_000, "PNG": 25_000_000, "WEBP": 25_000_000}
SIDE_AT_MOST = 20_000
TYPES = ("JPEG", "PNG", "WEBP")


class PictureRefused(ValueError):
    """Why a file is not taken, in a sentence."""


class NoPicture(PictureRefused):
    """The file is none that can be read."""

    def __init__(self) -> None:
        super().__init__(
            _("This file is no picture that can be read. Take the photo anew, or send a JPEG, PNG or WebP file.")
        )


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture as it is kept: two JPEG files and the size of the large one."""

    jpeg: bytes
    small: bytes
    width: int
    height: int


def drawn_anew(data: bytes) -> Picture:
    """The picture of a file. Raises PictureRefused with a sentence for whoever sent it."""
    if len(data) > BYTES_AT_MOST:
        raise PictureRefused(too_large(len(data)))
    with _opened(data) as image:
        image.draft("RGB", (LONGEST, LONGEST))
        plain = _upright(_plain(image, LONGEST), image)
    return _kept(_as_jpeg(plain, QUALITY), plain.width, plain.height)


def as_kept(data: bytes) -> Picture:
    """A picture that was kept once and comes back from a folder: as it is where it is a plain JPEG of that size, so
    that it is the same however often it goes and comes; else drawn anew."""
    with _opened(data) as image:
        is_kept = (
            image.format == "JPEG"
            and image.mode == "RGB"
            and max(image.size) <= LONGEST
            and set(image.info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}
            and data.endswith(b"\xff\xd9")
            and data.count(b"\xff\xd9") == 1
        )
        if is_kept:
            _loaded(image)
            return _kept(data, image.width, image.height)
    return drawn_anew(data)


def too_large(size: int) -> str:
    told = _("The photo has {size:,.1f} MB; {most:g} MB is the most. Take it with fewer pixels.")
    return told.format(size=size / 1e6, most=BYTES_AT_MOST / 1e6)


def _kept(jpeg: bytes, width: int, height: int) -> Picture:
    """The small one is made of the large one, so that it is the same wherever that comes from."""
    with _opened(jpeg) as image:
        image.draft("RGB", (SMALL, SMALL))
        small = _as_jpeg(_plain(image, SMALL), SMALL_QUALITY)
    return Picture(jpeg=jpeg, small=small, width=width, height=height)


def _opened(data: bytes) -> Any:
    """The file as an image of which only the head is read yet. Formats that are none of photos are not even tried."""
    from PIL import Image

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", Image.DecompressionBombWarning)
            image = Image.open(BytesIO(data), formats=TYPES)
    except (Image.DecompressionBombWarning, Image.DecompressionBombError):
        raise PictureRefused(_too_many_pixels()) from None
    except Exception as error:  # a broken head breaks a reader in many ways
        raise NoPicture from error
    most = PIXELS_AT_MOST.get(image.format or "", 0)
    if image.width * image.height > most or max(image.size) > SIDE_AT_MOST:
        raise PictureRefused(_too_many_pixels())
    return image


def _too_many_pixels() -> str:
    return _("The photo has too many pixels. Take it with a lower resolution: 12 million are more than enough.")


def _loaded(image: Any) -> None:
    try:
        image.load()
    except Exception as error:  # cut off, or broken further on
        raise NoPicture from error


def _plain(image: Any, longest: int) -> Any:
    """On white, in three colours, no side longer than that; a new image that knows nothing of where it comes from."""
    from PIL import Image

    _loaded(image)
    try:
        image.thumbnail((longest, longest))
        if image.mode in ("RGBA", "LA", "PA") or "transparency" in image.info:
            image = image.convert("RGBA")
            plain = Image.new("RGB", image.size, "white")
            plain.paste(image, mask=image.getchannel("A"))
            return plain
        plain = Image.new("RGB", image.size)
        plain.paste(image.convert("RGB"))
        return plain
    except (OSError, ValueError, MemoryError) as error:
        raise NoPicture from error


def _upright(plain: Any, image: Any) -> Any:
    """Turned as the camera says that it was held; as it is where what it says cannot be read."""
    from PIL import Image, ImageOps

    try:
        held = image.getexif().get(0x0112)
    except Exception:  # what a camera writes there is anything
        return plain
    turned = Image.Exif()
    turned[0x0112] = held if isinstance(held, int) and 1 <= held <= 8 else 1
    plain.info["exif"] = turned.tobytes()
    upright = ImageOps.exif_transpose(plain)
    upright.info.clear()
    return upright


def _as_jpeg(image: Any, quality: int) -> bytes:
    file = BytesIO()
    image.save(file, "JPEG", quality=quality)
    return file.getvalue()
