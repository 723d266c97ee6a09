"""Photographs and logos from outside: scaled, upright, and with nothing left in them but their pixels.

A photograph from a phone tells where and when it was taken, with what, and often more. Only its pixels are copied into
a new picture, so that nothing else of it is ever kept or published.
"""

from __future__ import annotations

import io
import struct
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from PIL import Image, ImageOps, UnidentifiedImageError

from benchctl.errors import UsageError, quote

# Enough to read a part's marking on a photograph of a whole board, and about 0.3 MB as JPEG.
LONGEST_SIDE_PX = 1600
LOGO_SIDE_PX = 600
MOST_BYTES = 60_000_000
# Of what is decoded: a JPEG file is decoded at a fraction of its size. Four bytes each, so 256 MB of memory.
MOST_PIXELS = 64_000_000
_JPEG_QUALITY = 85

# MPO is what many phones write into a .jpg file: the photograph, and a smaller one behind it.
_READ = ("JPEG", "MPO", "PNG", "WEBP", "AVIF", "TIFF", "BMP", "GIF")
_NOT_DECODED = (OSError, ValueError, SyntaxError, EOFError, MemoryError, struct.error)


def as_photograph(content: bytes, name: str) -> bytes:
    """The picture in these bytes of the file `name` as a JPEG file, at most `LONGEST_SIDE_PX` long.

    Raises:
        UsageError: it is no picture that can be read, or too large.
    """
    pixels = _pixels(content, name, LONGEST_SIDE_PX)
    fresh = Image.new("RGB", pixels.size, "white")
    fresh.paste(pixels, mask=pixels.getchannel("A"))
    return _saved(fresh, "JPEG", quality=_JPEG_QUALITY)


def as_logo(content: bytes, name: str) -> bytes:
    """The picture in these bytes of the file `name` as a PNG file, which keeps what is transparent in it; errors as for
    `as_photograph`."""
    pixels = _pixels(content, name, LOGO_SIDE_PX)
    fresh = Image.new("RGBA", pixels.size)
    fresh.paste(pixels)
    return _saved(fresh, "PNG")


def _pixels(content: bytes, name: str, longest_px: int) -> Image.Image:
    """Upright, scaled, with a channel of transparency."""
    with _opened(content, name) as image:
        image.draft("RGB", (longest_px, longest_px))
        if image.width * image.height > MOST_PIXELS:
            raise _too_large(name, image.size)
        upright = _with_eight_bits(ImageOps.exif_transpose(image)).convert("RGBA")
        upright.thumbnail((longest_px, longest_px), Image.Resampling.LANCZOS)
        return upright


def _with_eight_bits(picture: Image.Image) -> Image.Image:
    """A grey picture of 16 bits in 8; Pillow itself would make nearly all of it white."""
    if not picture.mode.startswith("I;16"):
        return picture
    return picture.convert("I").point(lambda grey: grey * (1 / 256)).convert("L")


@contextmanager
def _opened(content: bytes, name: str) -> Iterator[Image.Image]:
    """The picture, of which only the beginning has been read; whatever is wrong with it is a UsageError."""
    if len(content) > MOST_BYTES:
        raise UsageError(f"{quote(name)} is larger than {MOST_BYTES // 1_000_000} MB", advice="Save a smaller copy.")
    Image.init()
    formats = [each for each in _READ if each in Image.OPEN]
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # a large photograph is checked here, and doubts about a file are its own
            with Image.open(io.BytesIO(content), formats=formats) as image:
                yield image
    except UnidentifiedImageError:
        raise _unreadable(content, name) from None
    except Image.DecompressionBombError:
        raise _too_large(name) from None
    except _NOT_DECODED as error:
        raise UsageError(
            f"{quote(name)} begins as a picture and cannot be read to its end: {error}",
            advice="It may be damaged or cut off. Copy it again, or save it anew as JPEG.",
        ) from None


def _saved(picture: Image.Image, form: str, **options: int) -> bytes:
    target = io.BytesIO()
    picture.save(target, form, **options)
    return target.getvalue()


def _too_large(name: str, size: tuple[int, int] | None = None) -> UsageError:
    told = f", with {size[0]} x {size[1]} points" if size else ""
    return UsageError(f"the picture in {quote(name)} is too large to be read{told}", advice="Save a smaller copy.")


def _unreadable(content: bytes, name: str) -> UsageError:
    what, advice = next(said for is_it, *said in _KINDS if is_it(content))
    return UsageError(f"{quote(name)} cannot be read as a picture: it is {what}", advice=advice)


def _begins_as_film(content: bytes, *brands: bytes) -> bool:
    return content[4:8] == b"ftyp" and (not brands or content[8:12] in brands)


def _is_heic(content: bytes) -> bool:
    return _begins_as_film(content, b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1")


def _is_text(content: bytes) -> bool:
    try:
        return content[:1000].decode("utf-8", errors="strict").replace("\n", "").replace("\r", "").isprintable()
    except UnicodeDecodeError as error:
        return error.start > 900  # only the last character is cut in two


_AS_JPEG = "Save it as JPEG or PNG."
_KINDS: tuple[tuple[Callable[[bytes], bool], str, str], ...] = (
    (lambda content: not content, "empty", "Copy it again."),
    (
        _is_heic,
        "a HEIC photograph, as many phones take them",
        "Save a copy as JPEG, or set the phone's camera to take JPEG; phones call this 'most compatible'.",
    ),
    (lambda content: _begins_as_film(content, b"avif", b"avis"), "an AVIF photograph", _AS_JPEG),
    (_begins_as_film, "a film", "Save one of its frames as JPEG."),
    (lambda content: content.startswith(b"%PDF"), "a PDF document", "Save its page as PNG or JPEG."),
    (lambda content: b"<svg" in content[:2000].lower(), "an SVG drawing", "Save it as PNG."),
    (_is_text, "text, whatever its name says", "Give the file of a picture."),
    (lambda _: True, "of a form that is not known here", _AS_JPEG),
)
