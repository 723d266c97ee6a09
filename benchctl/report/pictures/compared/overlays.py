"""All pictures of a comparison."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.report.comparison.compared import Comparison
from benchctl.report.pictures.canvas import Picture
from benchctl.report.pictures.compared.differences import difference_pictures
from benchctl.report.pictures.compared.distortion import distortion_overlays
from benchctl.report.pictures.compared.power import power_overlays
from benchctl.report.pictures.compared.response import response_overlays


def comparison_pictures(comparison: Comparison) -> list[Picture]:
    """Curves over each other first, then how clearly the figures differ."""

    def every() -> Iterator[Picture]:
        yield from power_overlays(comparison)
        yield from distortion_overlays(comparison)
        yield from response_overlays(comparison)
        yield from difference_pictures(comparison)

    return list(every())
