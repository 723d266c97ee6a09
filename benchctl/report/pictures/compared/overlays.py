"""All pictures of a comparison."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.report.comparison.compared import Comparison
from benchctl.report.pictures.canvas import Picture
from benchctl.report.pictures.compared.differences import difference_pictures
from benchctl.report.pictures.compared.distortion import distortion_overlays
from benchctl.report.pictures.compared.power import power_overlays
from benchctl.report.pictures.compared.response import response_overlays
from benchctl.report.pictures.gallery import Gallery, drawn_of


def comparison_gallery(comparison: Comparison) -> Gallery:
    """Curves over each other first, then how clearly the figures differ."""
    return drawn_of(_all(comparison))


def _all(comparison: Comparison) -> Iterator[tuple[str, Iterator[Picture]]]:
    yield "power of the runs", power_overlays(comparison)
    yield "distortion of the runs", distortion_overlays(comparison)
    yield "what the runs measured against frequency", response_overlays(comparison)
    yield "the differences", difference_pictures(comparison)
