"""The page can be read in the light, in the dark and on paper.

Contrast as WCAG 2.1 defines it (relative luminance of sRGB, ratio with 0.05 added to both): at least 4.5 for text
(1.4.3) and 3 for what carries meaning in a picture (1.4.11).
"""

from __future__ import annotations

import itertools
import math
import re
from importlib.resources import files

import pytest

from benchctl.report.pictures.canvas import VARIABLES

CSS = files("benchctl.report").joinpath("templates/style.css").read_text(encoding="utf-8")
PALETTES = [dict(re.findall(r"(--[\w-]+): (#\w+);", block)) for block in re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)]
NAMES = ["light", "dark", "paper"]
each_palette = pytest.mark.parametrize("palette", PALETTES, ids=NAMES)


def luminance(colour: str) -> float:
    digits = colour[1:] if len(colour) == 7 else "".join(2 * digit for digit in colour[1:])
    channels = [int(digits[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_contrast_is_that_of_the_definition() -> None:
    """Black on white is 21:1, and 1:1 is the least there is."""
    assert contrast("#000000", "#fff") == pytest.approx(21.0)
    assert contrast("#123456", "#123456") == 1.0


def test_there_is_a_palette_for_light_dark_and_paper() -> None:
    assert len(PALETTES) == len(NAMES)
    assert all(set(palette) == set(PALETTES[0]) for palette in PALETTES)


@each_palette
def test_text_stands_out_from_what_is_behind_it(palette: dict[str, str]) -> None:
    for text in ("--ink", "--soft", "--passes", "--fails", "--untold"):
        assert contrast(palette[text], palette["--paper"]) >= 4.5, text
    for verdict in ("passes", "fails", "untold"):
        assert contrast(palette[f"--{verdict}"], palette[f"--{verdict}-shade"]) >= 4.5, verdict
        assert contrast(palette["--ink"], palette[f"--{verdict}-shade"]) >= 4.5, verdict


@each_palette
def test_every_series_of_a_picture_stands_out(palette: dict[str, str]) -> None:
    series = [colour for name, colour in palette.items() if name.startswith("--series-")]
    assert len(series) == len(set(series)) == 6
    assert all(contrast(colour, palette["--paper"]) >= 3.0 for colour in series)


# -- colour vision -------------------------------------------------------------------------------------------------

# What is seen without one kind of cones, in linear sRGB: Machado, Oliveira and Fernandes (2009), "A
# physiologically-based model for simulation of color vision deficiency", table 1, severity 1.0.
VISIONS = {
    "full": ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0)),
    "protanopia": ((0.152286, 1.052583, -0.204868), (0.114503, 0.786281, 0.099216), (-0.003882, -0.048116, 1.051998)),
    "deuteranopia": ((0.367322, 0.860646, -0.227968), (0.280085, 0.672501, 0.047413), (-0.011820, 0.042940, 0.968881)),
}
# Of sRGB: IEC 61966-2-1 (from memory); white is D65.
TO_XYZ = ((0.4124, 0.3576, 0.1805), (0.2126, 0.7152, 0.0722), (0.0193, 0.1192, 0.9505))
WHITE = (0.9505, 1.0, 1.089)
# A difference of 2.3 in CIELAB is just noticeable (Mahy and others, 1994, from memory); thin lines need much more.
FARTHEST_ALIKE = 15.0

Triple = tuple[float, ...]


def times(matrix: tuple[Triple, ...], vector: Triple) -> Triple:
    return tuple(sum(factor * part for factor, part in zip(row, vector, strict=True)) for row in matrix)


def linear(colour: str) -> Triple:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    return tuple(c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)


def lab(seen: Triple) -> Triple:
    """CIE 1976 L*a*b* (ISO/CIE 11664-4, from memory)."""
    ratios = [part / white for part, white in zip(times(TO_XYZ, seen), WHITE, strict=True)]
    x, y, z = (math.cbrt(t) if t > (6 / 29) ** 3 else t / (3 * (6 / 29) ** 2) + 4 / 29 for t in ratios)
    return 116 * y - 16, 500 * (x - y), 200 * (y - z)


def seen_as(colour: str, vision: str) -> Triple:
    return lab(tuple(min(1.0, max(0.0, part)) for part in times(VISIONS[vision], linear(colour))))


def test_lightness_is_that_of_the_definition() -> None:
    """White has L* 100 and black 0; who lacks a kind of cones sees both as they are."""
    for vision in VISIONS:
        assert seen_as("#ffffff", vision) == pytest.approx((100.0, 0.0, 0.0), abs=0.05)
        assert seen_as("#000000", vision) == pytest.approx((0.0, 0.0, 0.0), abs=0.05)


@each_palette
@pytest.mark.parametrize("vision", VISIONS)
def test_readers_with_any_colour_vision_can_tell_the_series_apart(palette: dict[str, str], vision: str) -> None:
    series = [colour for name, colour in palette.items() if name.startswith("--series-")]
    apart = {
        pair: math.dist(*(seen_as(colour, vision) for colour in pair)) for pair in itertools.combinations(series, 2)
    }
    assert min(apart.values()) >= FARTHEST_ALIKE, min(apart, key=lambda pair: apart[pair])


def test_pictures_are_drawn_in_the_colours_of_the_light_page() -> None:
    """A picture's file has these, and the page's own variables take their places on a page."""
    assert {name: PALETTES[0][name] for name in VARIABLES.values()} == {name: c for c, name in VARIABLES.items()}


def test_the_owners_sheet_has_the_colours_of_the_light_page() -> None:
    sheet = files("benchctl.report").joinpath("templates/sheet.css").read_text(encoding="utf-8")
    colours = dict(re.findall(r"(--series-\d): (#[0-9a-f]{6})", sheet))
    assert colours == {name: PALETTES[0][name] for name in colours}
    assert len(colours) == 6
