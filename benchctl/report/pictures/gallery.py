"""All pictures of a run. If the data of one is missing, the others are still drawn."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from benchctl.errors import ArchiveError, MeasurementError
from benchctl.report.pictures.canvas import Picture
from benchctl.report.pictures.cycles import cycle_pictures
from benchctl.report.pictures.distortion import distortion_pictures
from benchctl.report.pictures.efficiency import efficiency_pictures
from benchctl.report.pictures.noise import noise_pictures
from benchctl.report.pictures.power import power_pictures
from benchctl.report.pictures.response import response_pictures
from benchctl.report.pictures.spectrum import spectrum_pictures
from benchctl.report.pictures.square import square_pictures
from benchctl.report.pictures.trend import trend_pictures
from benchctl.report.pictures.waveform import waveform_pictures
from benchctl.report.reading.run_record import RunRecord

# What drawing may raise when somebody has changed a journal or a capture.
_NOT_DRAWN = (MeasurementError, ArchiveError, ValueError, TypeError, LookupError, ArithmeticError)


@dataclass(frozen=True)
class Gallery:
    """The pictures, and the reasons why some could not be drawn."""

    pictures: tuple[Picture, ...]
    missing: tuple[str, ...]


def gallery_of(run_record: RunRecord) -> Gallery:
    """Every picture that this run has data for."""
    return drawn_of(_all(run_record))


def drawn_of(each: Iterator[tuple[str, Iterator[Picture]]]) -> Gallery:
    """What can be drawn of each kind of picture, and why another cannot."""
    pictures: list[Picture] = []
    missing: list[str] = []
    for what, drawn in each:
        try:
            pictures += drawn
        except _NOT_DRAWN as error:
            missing.append(f"There is no picture of {what}: {error}")
    return Gallery(tuple(pictures), tuple(missing))


def _all(run_record: RunRecord) -> Iterator[tuple[str, Iterator[Picture]]]:
    yield "power by load and length of burst", power_pictures(run_record)
    yield "the cycles of a burst", cycle_pictures(run_record)
    yield "a burst's waveform", waveform_pictures(run_record)
    yield "efficiency", efficiency_pictures(run_record)
    yield "distortion against power", distortion_pictures(run_record)
    yield "the spectrum of a tone", spectrum_pictures(run_record)
    yield "the response", response_pictures(run_record)
    yield "square waves", square_pictures(run_record)
    yield "the noise", noise_pictures(run_record)
    yield "the trend", trend_pictures(run_record)
