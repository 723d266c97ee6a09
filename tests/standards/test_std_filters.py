"""Responses of textbook filters: attenuations, band edges, and slopes told apart.

Attenuations of Butterworth order n, 10 lg(1 + r^2n), and Linkwitz-Riley (two Butterworths in cascade), textbook; the
responses themselves come from scipy.signal, the independent road.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
import pytest
from scipy import signal

from benchctl.measure.signal.frequencies import per_octave_hz
from benchctl.measure.signal.response import Passband, Response, Slope, lower_slope, passband, upper_slope

Kind = Literal["low", "high"]
CUT_HZ = 1000.0


def _filter(name: str, kind: Kind, cut_hz: float, frequencies_hz: np.ndarray) -> np.ndarray:
    """Gains of BWn or LRn from scipy's analogue prototypes."""
    order = int(name[2:])
    cascaded = name.startswith("LR")
    poles = signal.butter(order // 2 if cascaded else order, 2.0 * np.pi * cut_hz, kind, analog=True)
    gains = signal.freqs(*poles, worN=2.0 * np.pi * frequencies_hz)[1]
    return gains**2 if cascaded else gains


def _response(name: str, kind: Kind, cut_hz: float = CUT_HZ, per_octave: int = 3) -> Response:
    frequencies_hz = np.array(per_octave_hz(20.0, 20e3, per_octave))
    return Response.of(frequencies_hz, _filter(name, kind, cut_hz, frequencies_hz))


# name: attenuation in dB at the cut-off, one octave and two octaves beyond
ATTENUATION = {
    "BW1": (3.0103, 6.9897, 12.3045),
    "BW2": (3.0103, 12.3045, 24.0993),
    "BW3": (3.0103, 18.1291, 36.1247),
    "BW4": (3.0103, 24.0993, 48.1649),
    "LR2": (6.0206, 13.9794, 24.6090),
    "LR4": (6.0206, 24.6090, 48.1987),
}


@pytest.mark.parametrize(("name", "attenuations"), ATTENUATION.items())
def test_gain_between_measured_points_agrees_with_the_textbook_attenuation(
    name: str, attenuations: tuple[float, float, float]
) -> None:
    """Read off by interpolation, at binary octaves that no point of the base-ten sweep meets."""
    response = _response(name, "low", per_octave=6)
    for octave, attenuation in enumerate(attenuations):
        assert -response.gain_db_at(CUT_HZ * 2.0**octave) == pytest.approx(attenuation, abs=0.01)


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize("cut_hz", [1000.0, 1130.0, 3000.0])
def test_the_upper_edge_of_a_butterworth_low_pass_is_its_cut_off(order: int, cut_hz: float) -> None:
    band = passband(_response(f"BW{order}", "low", cut_hz), reference_hz=30.0)
    assert band.upper_hz == pytest.approx(cut_hz, rel=0.01)
    assert band.lower_hz is None


@pytest.mark.parametrize("order", [1, 2, 3, 4])
def test_the_lower_edge_of_a_butterworth_high_pass_is_its_cut_off(order: int) -> None:
    band = passband(_response(f"BW{order}", "high", 80.0), reference_hz=5000.0)
    assert band.lower_hz == pytest.approx(80.0, rel=0.01)
    assert band.upper_hz is None


def _slope_of(response: Response, kind: Kind) -> Slope | None:
    if kind == "low":
        return upper_slope(response, passband(response, reference_hz=25.0))
    return lower_slope(response, passband(response, reference_hz=15e3))


@pytest.mark.parametrize("kind", ["low", "high"])
@pytest.mark.parametrize(
    ("name", "nominal"), [("BW1", 6), ("BW2", 12), ("BW3", 18), ("BW4", 24), ("LR4", 24), ("LR8", 48), ("LR2", 12)]
)
@pytest.mark.parametrize("per_octave", [3, 6])
def test_the_slope_of_a_filter_gets_its_common_name(name: str, nominal: int, kind: Kind, per_octave: int) -> None:
    slope = _slope_of(_response(name, kind, 600.0, per_octave), kind)
    assert slope is not None
    assert slope.order == nominal // 6
    if nominal in (12, 24):
        assert slope.which(12, 24) == nominal


def _noisy_slope(name: str, cut_hz: float, noise: float, random: np.random.Generator) -> Slope | None:
    """The slope of a low-pass (below 1 kHz) or high-pass with 0.2 dB of scatter and noise in every gain."""
    kind: Kind = "low" if cut_hz < 1000.0 else "high"
    frequencies_hz = np.array(per_octave_hz(20.0, 20e3, 3))
    gains = _filter(name, kind, cut_hz, frequencies_hz)
    gains = gains * 10.0 ** (0.2 * random.standard_normal(gains.size) / 20.0)
    gains = gains + noise / 2**0.5 * (random.standard_normal(gains.size) + 1j * random.standard_normal(gains.size))
    return _slope_of(Response.of(frequencies_hz, gains, scatter_db=0.2, noise_gain=noise), kind)


NAMED = [("BW2", 12), ("LR2", 12), ("BW4", 24), ("LR4", 24)]


@pytest.mark.parametrize("cut_hz", [80.0, 120.0, 250.0, 2500.0])
@pytest.mark.parametrize("seed", range(8))
def test_twelve_and_twenty_four_decibels_an_octave_are_told_apart(cut_hz: float, seed: int) -> None:
    """With noise 74 dB below the band: a poor oscilloscope's, as a fit to a few thousand samples leaves it."""
    random = np.random.default_rng(seed)
    for name, nominal in NAMED:
        slope = _noisy_slope(name, cut_hz, 2e-4, random)
        assert slope is not None
        assert slope.which(12, 24) == nominal


@pytest.mark.parametrize("noise", [1e-4, 1e-3, 1e-2])
@pytest.mark.parametrize("seed", range(8))
def test_whatever_the_noise_twelve_and_twenty_four_are_never_taken_for_each_other(noise: float, seed: int) -> None:
    random = np.random.default_rng(seed)
    for name, nominal in NAMED:
        for cut_hz in (80.0, 120.0, 2500.0):
            slope = _noisy_slope(name, cut_hz, noise, random)
            assert slope is None or slope.which(12, 24) in (nominal, None)


def test_a_slope_between_two_named_ones_is_neither() -> None:
    assert Slope(18.0, 0.5).which(12, 24) is None
    assert Slope(18.0, 0.5).order == 3
    assert Slope(15.0, 0.1).order is None


def test_a_slope_too_uncertain_to_name_has_no_order() -> None:
    assert Slope(24.0, 3.5).order is None
    assert Slope(24.0, 3.5).which(12, 24) == 24


def test_too_little_of_the_stop_band_gives_no_slope() -> None:
    """An octave and a third beyond the edge is not yet the filter's own slope."""
    frequencies_hz = np.array(per_octave_hz(20.0, 2550.0, 3))
    response = Response.of(frequencies_hz, _filter("BW4", "low", CUT_HZ, frequencies_hz))
    assert upper_slope(response, passband(response, 50.0)) is None


def test_a_flat_response_has_neither_edges_nor_slopes() -> None:
    response = Response.of([20.0, 200.0, 1000.0, 20e3], [30.0, 30.0, 30.0, 30.0])
    assert response.gain_db_at(1000.0) == pytest.approx(29.5424, abs=1e-4)
    assert passband(response) == Passband(None, None)
    assert upper_slope(response, passband(response)) is None
    assert lower_slope(response, passband(response)) is None


@pytest.mark.parametrize("order", [2, 4])
def test_the_phase_of_a_low_pass_runs_without_a_jump_to_a_quarter_turn_an_order(order: int) -> None:
    phase_deg = np.degrees(np.unwrap(np.angle(_response(f"BW{order}", "low", 200.0).gains)))
    assert np.all(np.diff(phase_deg) < 0.0)
    assert phase_deg[-1] == pytest.approx(-90.0 * order, abs=3.0)
