"""Figures of a stepped sine: gain, phase and band edges of filters whose response is a closed form."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from benchctl.errors import MeasurementError, SilentRecord
from benchctl.measure.analyses.response_figures import ResponseContext, response
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import Accuracy
from tests.measure.conftest import digitise

LEVEL_V = 0.25
GENERATOR = (Accuracy(reading=0.005, fixed=0.001),)
SCOPE = (Accuracy(reading=0.005, range=0.001), Accuracy(reading=0.005))
THIRD_OCTAVES_HZ = [1000.0 * 10.0 ** (n / 10.0) for n in range(-18, 14)]

Filter = Callable[[float], complex]


def amplifier(frequency_hz: float) -> complex:
    """30 dB between a first-order high-pass of 25 Hz and a second-order Butterworth low-pass of 15 kHz."""
    high_pass = 1j * frequency_hz / 25.0 / (1.0 + 1j * frequency_hz / 25.0)
    s = 1j * frequency_hz / 15e3
    return 31.6 * high_pass / (1.0 + math.sqrt(2.0) * s + s**2)


def captured(gains: dict[str, Filter], frequency_hz: float, start_s: float = 0.0) -> Capture:
    """Ten cycles, the generator's sine crossing zero upwards at the trigger."""
    time_s = start_s + np.arange(20_000) * (10.0 / frequency_hz / 20_000)
    traces = {}
    for channel, gain_of in gains.items():
        gain = gain_of(frequency_hz)
        volts = math.sqrt(2.0) * LEVEL_V * abs(gain) * np.sin(2 * np.pi * frequency_hz * time_s + np.angle(gain))
        noise = np.random.default_rng(int(frequency_hz)).normal(0.0, 3e-4, time_s.size)
        traces[f"output {channel}"] = digitise(volts + noise, 2.6 * math.sqrt(2.0) * LEVEL_V * abs(gain) + 0.01)
    return Capture(f"{frequency_hz:.6g}.npz", start_s, float(time_s[1] - time_s[0]), traces, 0.0)


def figures_of(
    gains: dict[str, Filter], frequencies: list[float], *, start_s: float = 0.0, reference_hz: float = 1e3
) -> list[Figure]:
    roles = {f"{f:.6g} Hz": f for f in frequencies}
    captures = {role: captured(gains, f, start_s) for role, f in roles.items()}
    accuracy = {f"output {channel}": SCOPE for channel in gains}
    context = ResponseContext(
        tones_hz=roles, level_v=LEVEL_V, reference_hz=reference_hz, level_accuracy=GENERATOR, accuracy=accuracy
    )
    return response(captures, {}, context)


def of(figures: list[Figure], name: str, channel: str = "A") -> list[Figure]:
    return [figure for figure in figures if figure.name == name and figure.channel == channel]


def test_gain_and_phase_are_those_of_the_filter() -> None:
    figures = figures_of({"A": amplifier}, THIRD_OCTAVES_HZ)
    true_errors = [amplifier(f) for f in THIRD_OCTAVES_HZ]
    for figure, gain in zip(of(figures, "gain"), true_errors, strict=True):
        assert figure.value == pytest.approx(abs(gain), rel=1e-3)
        assert figure.unit == "1"
    phases = np.unwrap(np.angle(true_errors))
    for figure, phase in zip(of(figures, "phase"), phases, strict=True):
        assert figure.value == pytest.approx(phase, abs=2e-3)


def test_phase_counts_from_the_trigger_wherever_the_record_begins() -> None:
    at_once, later = (figures_of({"A": amplifier}, [500.0, 1e3, 2e3], start_s=start_s) for start_s in (0.0, -1.3e-3))
    for first, second in zip(of(at_once, "phase"), of(later, "phase"), strict=True):
        assert second.value == pytest.approx(first.value, abs=1e-3)


def test_an_inverting_amplifier_is_half_a_turn_off() -> None:
    figures = figures_of({"A": lambda f: -31.6}, [500.0, 1e3, 2e3])
    assert all(abs(figure.value) == pytest.approx(math.pi, abs=1e-3) for figure in of(figures, "phase"))


@pytest.mark.parametrize(
    ("name", "edge_hz"),
    [
        ("lower_band_edge", 25.0),  # of a first-order high-pass, by definition of its cut-off
        ("upper_band_edge", 15e3),  # of a Butterworth low-pass of any order
    ],
)
def test_a_band_edge_is_the_filters_cut_off_within_its_uncertainty(name: str, edge_hz: float) -> None:
    (edge,) = of(figures_of({"A": amplifier}, THIRD_OCTAVES_HZ), name)
    assert edge.expanded_uncertainty is not None
    assert abs(edge.value - edge_hz) <= edge.expanded_uncertainty < 0.05 * edge_hz
    assert (edge.unit, edge.frequency_hz) == ("Hz", 1000.0)


def test_a_coarse_sweep_knows_a_band_edge_less_well() -> None:
    fine, coarse = (
        of(figures_of({"A": amplifier}, frequencies), "upper_band_edge")[0]
        for frequencies in (THIRD_OCTAVES_HZ, [62.5 * 2.0**n for n in range(10)])
    )
    assert (fine.expanded_uncertainty or 0.0) < (coarse.expanded_uncertainty or 0.0)
    assert abs(coarse.value - 15e3) <= (coarse.expanded_uncertainty or 0.0)


def test_a_channel_6_db_down_shows_in_the_balance_without_the_generators_error() -> None:
    figures = figures_of({"A": amplifier, "B": lambda f: amplifier(f) / 2.0}, [500.0, 1e3, 2e3])
    balances = of(figures, "channel_balance", "B")
    assert [figure.frequency_hz for figure in balances] == [500.0, 1e3, 2e3]
    assert all(figure.value == pytest.approx(0.5, rel=1e-3) for figure in balances)
    # Each chain: the gains of an oscilloscope of 0.5 % and of a probe of 0.5 %, both rectangular; an amplitude does not
    # see the error of zero that the oscilloscope's range brings.
    by_hand = 2.0 * math.sqrt(2.0 * (0.005**2 + 0.005**2) / 3.0)
    assert all((f.expanded_uncertainty or 0.0) / f.value == pytest.approx(by_hand, rel=0.02) for f in balances)


def test_silence_at_every_frequency_is_named() -> None:
    with pytest.raises(SilentRecord, match="every output is silent: no more than noise from 1000 Hz to 2000 Hz"):
        figures_of({"A": lambda f: 0.0}, [1e3, 2e3])


def steep(frequency_hz: float) -> complex:
    """30 dB before a fourth-order Butterworth low-pass of 200 Hz, lost in the noise of 0.3 mV from 3.5 kHz on."""
    angles = (math.pi / 8.0, 3.0 * math.pi / 8.0)
    s = 1j * frequency_hz / 200.0
    return 31.6 / complex(np.prod([s**2 + 2.0 * math.cos(angle) * s + 1.0 for angle in angles]))


def test_a_gain_in_the_noise_is_a_bound_that_holds_and_has_no_phase() -> None:
    figures = figures_of({"A": steep}, THIRD_OCTAVES_HZ, reference_hz=50.0)
    gains = of(figures, "gain")
    bounds = [figure for figure in gains if figure.bound]
    assert [figure.frequency_hz for figure in gains] == THIRD_OCTAVES_HZ
    assert len(bounds) >= 6
    assert all(
        figure.bound == "at most" and figure.value >= abs(steep(figure.frequency_hz or 0.0)) for figure in bounds
    )
    assert min(figure.frequency_hz or 0.0 for figure in bounds) > 2e3
    with_phase = {figure.frequency_hz for figure in of(figures, "phase")}
    assert with_phase == {figure.frequency_hz for figure in gains if not figure.bound}


def test_a_gain_that_is_told_in_spite_of_noise_is_the_filters_within_its_uncertainty() -> None:
    for figure in of(figures_of({"A": steep}, THIRD_OCTAVES_HZ, reference_hz=50.0), "gain"):
        if not figure.bound:
            assert abs(figure.value - abs(steep(figure.frequency_hz or 0.0))) <= 1.5 * (
                figure.expanded_uncertainty or 0.0
            )


def test_a_band_edge_comes_from_the_points_before_the_noise() -> None:
    """3 dB down at the corner of a Butterworth filter of any order, by definition."""
    (edge,) = of(figures_of({"A": steep}, THIRD_OCTAVES_HZ, reference_hz=50.0), "upper_band_edge")
    assert edge.bound == ""
    assert abs(edge.value - 200.0) <= (edge.expanded_uncertainty or 0.0)


def test_an_edge_between_the_last_gain_and_the_noise_is_bounded_by_both() -> None:
    """Too coarse a sweep to see the fall itself: at 20 kHz there is nothing left of it."""
    (edge,) = of(figures_of({"A": steep}, [10.0, 100.0, 20e3], reference_hz=50.0), "upper_band_edge")
    assert (edge.bound, edge.value) == ("at most", 20e3)


def test_noise_that_is_not_3_db_down_says_no_more_than_where_the_response_ends() -> None:
    def faint(frequency_hz: float) -> complex:
        return 1.2e-5 if frequency_hz > 500.0 else 3.2e-5

    (edge,) = of(figures_of({"A": faint}, [100.0, 200.0, 400.0, 800.0], reference_hz=200.0), "upper_band_edge")
    assert (edge.bound, edge.value) == ("at least", 400.0)


def test_nothing_is_read_from_a_gain_beyond_the_first_that_noise_hides() -> None:
    """A notch between the band and what lies beyond it: the curve about the reference ends there."""

    def notched(frequency_hz: float) -> complex:
        return 0.0 if 450.0 < frequency_hz < 550.0 else 31.6

    figures = figures_of({"A": notched}, [125.0, 250.0, 500.0, 1e3, 2e3], reference_hz=250.0)
    assert [figure.bound for figure in of(figures, "gain")] == ["", "", "at most", "", ""]
    (edge,) = of(figures, "upper_band_edge")
    assert (edge.bound, edge.value) == ("at most", 500.0)


def test_a_channel_that_is_silent_at_the_reference_has_gains_and_no_edges() -> None:
    figures = figures_of({"A": amplifier, "B": steep}, THIRD_OCTAVES_HZ, reference_hz=10e3)
    assert len(of(figures, "gain", "B")) == len(THIRD_OCTAVES_HZ)
    assert of(figures, "upper_band_edge", "A")
    assert of(figures, "upper_band_edge", "B") == []


def test_the_balance_against_noise_is_a_bound_from_the_side_that_is_known() -> None:
    def dead(frequency_hz: float) -> complex:
        return 0.0

    loud = figures_of({"A": amplifier, "B": dead}, [500.0, 1e3, 2e3])
    quiet = figures_of({"A": dead, "B": amplifier}, [500.0, 1e3, 2e3])
    assert all(figure.bound == "at most" and figure.value < 1e-4 for figure in of(loud, "channel_balance", "B"))
    assert all(figure.bound == "at least" and figure.value > 1e4 for figure in of(quiet, "channel_balance", "B"))


def test_a_converter_that_shows_one_code_bounds_a_gain_by_its_step() -> None:
    """Without noise a sine of less than half a step is not seen at all; 8 bits over 10 V are 39 mV a step."""
    time_s = np.arange(20_000) * 5e-7
    loud, hidden = (digitise(volts * np.sin(2e3 * np.pi * time_s), 10.0, bits=8) for volts in (3.5, 0.018))
    roles = {"one": 1e3, "other": 1001.0}
    captures = {
        role: Capture(role, 0.0, 5e-7, {"output A": trace}, 0.0)
        for role, trace in zip(roles, (loud, hidden), strict=True)
    }
    context = ResponseContext(tones_hz=roles, level_v=LEVEL_V, accuracy={"output A": SCOPE})
    _, gain = of(response(captures, {}, context), "gain")
    assert gain.bound == "at most"
    assert gain.value >= 0.018 / (math.sqrt(2.0) * LEVEL_V)


def test_one_frequency_is_no_response() -> None:
    with pytest.raises(MeasurementError, match="two or more frequencies"):
        figures_of({"A": amplifier}, [1e3])
