"""What gain and phase over frequency promise: from a record's sines to balance and crosstalk."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.signal.response import Response, passband, transfer
from benchctl.measure.signal.sine import SineFit, fit_sine


def test_gain_and_phase_come_from_the_two_sines_of_one_record() -> None:
    times_s = np.arange(5000) * 1e-5
    source = 0.5 * np.cos(2.0 * np.pi * 1000.0 * times_s + 0.3)
    output = 15.0 * np.cos(2.0 * np.pi * 1000.0 * times_s + 0.3 - 0.7)
    gain = transfer(fit_sine(output, 1e-5, 1000.0), fit_sine(source, 1e-5, 1000.0))
    assert abs(gain) == pytest.approx(30.0)
    assert math.atan2(gain.imag, gain.real) == pytest.approx(-0.7)


def test_a_silent_input_gives_no_gain() -> None:
    with pytest.raises(MeasurementError):
        transfer(SineFit(1.0, 1000.0, 0.0, 0.0, 0.0), SineFit(0.0, 1000.0, 0.0, 0.0, 0.0))


def test_points_may_come_in_any_order() -> None:
    response = Response.of([2000.0, 500.0, 1000.0], [2.0, 0.5, 1.0])
    assert list(response.frequencies_hz) == [500.0, 1000.0, 2000.0]
    assert response.gain_db == pytest.approx([-6.0206, 0.0, 6.0206], abs=1e-4)


@pytest.mark.parametrize(
    ("frequencies_hz", "gains"),
    [
        ([1000.0], [1.0]),
        ([1000.0, 1000.0], [1.0, 1.0]),
        ([100.0, 1000.0], [1.0, 0.0]),
        ([100.0, 1000.0], [1.0, math.nan]),
        ([0.0, 1000.0], [1.0, 1.0]),
        ([100.0, 1000.0], [1.0]),
    ],
    ids=["one point", "one frequency twice", "no gain", "not a number", "dc", "unlike lengths"],
)
def test_points_that_make_no_response_are_a_named_error(frequencies_hz: list[float], gains: list[complex]) -> None:
    with pytest.raises(MeasurementError):
        Response.of(frequencies_hz, gains)


def test_the_reference_must_lie_within_the_response() -> None:
    with pytest.raises(MeasurementError):
        passband(Response.of([20.0, 100.0, 500.0], [1.0, 1.0, 1.0]), reference_hz=1000.0)
