"""Pictures as they are sent: drawn anew, and nothing kept that was not to be seen."""

from __future__ import annotations

import io
import struct
import zlib

import pytest
from PIL import Image, ImageDraw
from PIL.PngImagePlugin import PngInfo

from diestore import pictures
from tests.history.pictured import drawn

SCRIPT = b"<script>alert(1)</script>"


def opened(data: bytes) -> Image.Image:
    return Image.open(io.BytesIO(data))


def sent(image: Image.Image, kind: str = "JPEG", **more) -> bytes:
    file = io.BytesIO()
    image.save(file, kind, **more)
    return file.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
@pytest.mark.parametrize(("size", "kept", "small"), [
    ((4000, 1000), (1600, 400), (320, 80)), ((900, 2700), (533, 1600), (107, 320)),
    ((200, 100), (200, 100), (200, 100)), ((1, 1), (1, 1), (1, 1)), ((5000, 1), (1600, 1), (320, 1)),
])  # fmt: skip
def test_no_side_is_longer_than_it_may_be_and_nothing_is_made_larger(kind, size, kept, small):
    made = pictures.drawn_anew(drawn("teal", size, kind))
    assert (made.width, made.height) == opened(made.jpeg).size
    assert opened(made.jpeg).size == pytest.approx(kept, abs=1) and opened(made.small).size == pytest.approx(
        small, abs=1
    )
    assert opened(made.jpeg).format == opened(made.small).format == "JPEG"


def test_what_is_to_be_seen_stays():
    image = Image.new("RGB", (3200, 2000), "white")
    ImageDraw.Draw(image).rectangle((0, 0, 1600, 2000), fill=(200, 30, 30))
    made = opened(pictures.drawn_anew(sent(image)).jpeg)
    assert made.getpixel((200, 500)) == pytest.approx((200, 30, 30), abs=8)
    assert made.getpixel((1400, 500)) == pytest.approx((255, 255, 255), abs=8)


@pytest.mark.parametrize("held", range(1, 9))
def test_a_picture_stands_upright_however_the_camera_was_held(held):
    """Orientation 1 to 8 of EXIF (tag 0x0112): where the first row and the first column of what is stored lie."""
    image = Image.new("RGB", (60, 40), "white")
    ImageDraw.Draw(image).rectangle((0, 0, 19, 13), fill="black")  # the corner of the first row and the first column
    exif = Image.Exif()
    exif[0x0112] = held
    made = opened(pictures.drawn_anew(sent(image, exif=exif, quality=95)).jpeg).convert("L")
    assert made.size == ((60, 40) if held < 5 else (40, 60))
    corner = {1: "top left", 2: "top right", 3: "bottom right", 4: "bottom left",
              5: "top left", 6: "top right", 7: "bottom right", 8: "bottom left"}[held]  # fmt: skip
    x = 3 if "left" in corner else made.width - 4
    y = 3 if "top" in corner else made.height - 4
    assert made.getpixel((x, y)) < 60


def test_of_a_file_nothing_is_kept_but_the_picture():
    exif = Image.Exif()
    exif[0x010E], exif[0x8825] = SCRIPT.decode(), {1: "N", 2: (47.0, 30.0, 0.0)}
    text = PngInfo()
    text.add_text("Comment", SCRIPT.decode())
    image = Image.new("RGB", (50, 40), "gray")
    files = [sent(image, exif=exif, comment=SCRIPT), sent(image, "PNG", pnginfo=text), sent(image) + SCRIPT,
             sent(image, icc_profile=SCRIPT), sent(image, "WEBP", exif=exif)]  # fmt: skip
    for file in files:
        made = pictures.drawn_anew(file)
        for kept in (made.jpeg, made.small):
            assert SCRIPT not in kept and b"Exif" not in kept and not opened(kept).getexif()
            assert set(opened(kept).info) <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_what_shines_through_lies_on_white():
    made = opened(pictures.drawn_anew(sent(Image.new("RGBA", (20, 20), (255, 0, 0, 0)), "PNG")).jpeg)
    assert made.getpixel((10, 10)) == pytest.approx((255, 255, 255), abs=3)
    for mode, value in (("L", 128), ("1", 1), ("P", 3), ("LA", (128, 255)), ("CMYK", (0, 0, 0, 0)), ("I;16", 9)):
        kind = "JPEG" if mode == "CMYK" else "PNG"
        assert opened(pictures.drawn_anew(sent(Image.new(mode, (20, 20), value), kind)).jpeg).mode == "RGB"


def bomb(width: int, height: int) -> bytes:
    """A PNG of a few hundred bytes that says it is so large."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 99)) + chunk(b"IEND", b"")


@pytest.mark.parametrize("size", [(50_000, 50_000), (30_000, 2), (20_000, 2_000)])
def test_a_small_file_that_unpacks_to_much_is_refused_unread(size):
    with pytest.raises(pictures.PictureRefused, match="too many pixels"):
        pictures.drawn_anew(bomb(*size))


@pytest.mark.parametrize("data", [
    b"", b"x", SCRIPT, b"%PDF-1.7 " + SCRIPT, b"\xff\xd8\xff\xe0" + b"\0" * 50, b"GIF89a" + b"\0" * 60,
    b'<svg xmlns="http://www.w3.org/2000/svg">' + SCRIPT + b"</svg>", b"%!PS-Adobe-3.0 EPSF-3.0\n", drawn()[:40],
    drawn(size=(400, 400))[:-200], drawn(kind="GIF"), drawn(kind="TIFF"), drawn(kind="BMP"), b"PK\x03\x04" + b"\0" * 60,
])  # fmt: skip
def test_a_file_that_is_no_photo_is_refused_with_a_sentence(data):
    with pytest.raises(pictures.PictureRefused, match="no picture that can be read"):
        pictures.drawn_anew(data)


def test_a_file_that_is_too_large_is_refused_before_it_is_looked_at():
    with pytest.raises(pictures.PictureRefused, match=r"40\.0 MB; 15 MB is the most"):
        pictures.drawn_anew(b"\xff" * 40_000_000)


def test_what_was_kept_comes_back_to_the_last_byte_and_anything_else_is_drawn_anew():
    made = pictures.drawn_anew(sent(Image.effect_noise((500, 300), 90).convert("RGB")))
    assert pictures.as_kept(made.jpeg) == made
    for other in (made.jpeg + SCRIPT, sent(opened(made.jpeg), comment=SCRIPT), drawn("red", (2_000, 40)), drawn()):
        again = pictures.as_kept(other)
        assert SCRIPT not in again.jpeg and max(again.width, again.height) <= pictures.LONGEST
        assert pictures.as_kept(again.jpeg) == again
    with pytest.raises(pictures.PictureRefused):
        pictures.as_kept(made.jpeg[:-30])
