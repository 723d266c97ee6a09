"""Of a photograph only its pixels are kept: scaled, upright; what is no picture is refused by its right name."""

from __future__ import annotations

import io
import struct
import zlib

import pytest
from PIL import Image

from benchctl.errors import UsageError
from benchctl.photograph import LOGO_SIDE_PX, LONGEST_SIDE_PX, as_logo, as_photograph

RED, BLUE = (200, 20, 20), (20, 20, 200)
TURNED_RIGHT = 6  # Exif 2.32, table 6, Orientation: the 0th row of the file is the right-hand side of what was seen


def stored(picture: Image.Image, form: str, **options: object) -> bytes:
    target = io.BytesIO()
    picture.save(target, form, **options)
    return target.getvalue()


def seen(content: bytes) -> Image.Image:
    return Image.open(io.BytesIO(content))


def is_near(pixel: object, colour: tuple[int, int, int]) -> bool:
    assert isinstance(pixel, tuple)
    return all(abs(one - other) < 12 for one, other in zip(pixel, colour, strict=False))


@pytest.fixture(scope="module")
def from_a_phone() -> bytes:
    """2400 x 1200, the left half red, held upright: with a place, a comment, a profile and XMP."""
    picture = Image.new("RGB", (2400, 1200), BLUE)
    picture.paste(RED, (0, 0, 1200, 1200))
    exif = Image.Exif()
    exif[0x0112], exif[0x010E] = TURNED_RIGHT, "secret quay 5"
    exif.get_ifd(0x8825)[2] = (59.0, 20.0, 0.0)
    return stored(
        picture, "JPEG", exif=exif, comment=b"secret comment", icc_profile=b"secret profile", xmp=b"secret place"
    )


def test_only_the_pixels_of_a_photograph_are_kept(from_a_phone: bytes) -> None:
    assert from_a_phone.count(b"secret") == 4
    kept = as_photograph(from_a_phone, "board.jpg")
    assert b"secret" not in kept
    assert b"Exif" not in kept
    assert seen(kept).info.keys() <= {"jfif", "jfif_version", "jfif_unit", "jfif_density"}


def test_a_photograph_is_scaled_and_stands_upright(from_a_phone: bytes) -> None:
    picture = seen(as_photograph(from_a_phone, "board.jpg"))
    assert picture.size == (LONGEST_SIDE_PX // 2, LONGEST_SIDE_PX)
    assert is_near(picture.getpixel((400, 100)), RED), "the file's left side is the top of what was seen"
    assert is_near(picture.getpixel((400, 1500)), BLUE)
    assert seen(as_photograph(stored(Image.new("RGB", (40, 30)), "PNG"), "a.png")).size == (40, 30), "never enlarged"


def test_what_is_transparent_becomes_white_in_a_photograph_and_stays_so_in_a_logo() -> None:
    clear = stored(Image.new("RGBA", (1200, 300), (0, 0, 0, 0)), "PNG", dpi=(72, 72))
    assert seen(as_photograph(clear, "a.png")).getpixel((5, 5)) == (255, 255, 255)
    logo = seen(as_logo(clear, "logo.png"))
    assert logo.size == (LOGO_SIDE_PX, LOGO_SIDE_PX // 4)
    assert logo.getpixel((5, 5)) == (0, 0, 0, 0)
    assert not logo.info


@pytest.mark.parametrize(
    ("picture", "form", "grey"),
    [
        (Image.new("I;16", (9, 9), 0x8000), "PNG", 128),
        (Image.new("CMYK", (9, 9), (0, 0, 0, 0)), "JPEG", 255),
        (Image.new("P", (9, 9), 0), "GIF", 0),
        (Image.new("1", (9, 9), 1), "TIFF", 255),
    ],
    ids=["16 bits", "for print", "palette", "fax"],
)
def test_pictures_of_other_kinds_keep_their_brightness(picture: Image.Image, form: str, grey: int) -> None:
    pixel = seen(as_photograph(stored(picture, form), "scan")).getpixel((4, 4))
    assert is_near(pixel, (grey, grey, grey))


def png_that_claims(width: int, height: int) -> bytes:
    """The beginning of a PNG file (W3C PNG, 5.6 and 11.2.1): a head, and one empty row of data."""
    parts = [
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)),
        (b"IDAT", zlib.compress(b"")),
        (b"IEND", b""),
    ]
    chunks = (
        struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data)) for kind, data in parts
    )
    return b"\x89PNG\r\n\x1a\n" + b"".join(chunks)


@pytest.mark.parametrize(
    ("content", "said", "advice"),
    [
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1", "it is a HEIC photograph", "take JPEG"),
        (b"\0\0\0\x18ftypqt  \0\0\0\0", "it is a film", "one of its frames"),
        (b'<?xml version="1.0"?><svg xmlns="x"/>', "it is an SVG drawing", "as PNG"),
        (b"%PDF-1.7 ...", "it is a PDF document", "as PNG or JPEG"),
        (b"Notes of Monday\nrelay changed", "it is text, whatever its name says", "file of a picture"),
        (b"", "it is empty", "again"),
        (b"\x00\x01\xfe\xff" * 9, "of a form that is not known", "as JPEG or PNG"),
        (b"%!PS-Adobe-3.0 EPSF-3.0\x04\n%%BoundingBox: 0 0 9 9\n", "of a form that is not known", "as JPEG or PNG"),
        (png_that_claims(50_000, 50_000), "too large to be read", "smaller copy"),
        (png_that_claims(10_000, 10_000), "too large to be read, with 10000 x 10000 points", "smaller copy"),
        (png_that_claims(100, 100), "cannot be read to its end", "Copy it again"),
    ],
    ids=["heic", "film", "svg", "pdf", "text", "empty", "unknown", "postscript", "bomb", "large", "cut off"],
)
def test_what_is_no_picture_is_refused_by_its_name_with_what_to_do(content: bytes, said: str, advice: str) -> None:
    with pytest.raises(UsageError) as refused:
        as_photograph(content, "relay.jpg")
    assert "'relay.jpg'" in refused.value.message
    assert said in refused.value.message
    assert advice in refused.value.advice
