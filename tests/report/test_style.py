"""The page can be read in the light, in the dark and on paper.

Contrast as WCAG 2.1 defines it (relative luminance of sRGB, ratio with 0.05 added to both): at least 4.5 for text
(1.4.3) and 3 for what carries meaning in a picture (1.4.11).
"""

from __future__ import annotations

import re
from importlib.resources import files

import pytest

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
