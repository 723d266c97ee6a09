"""Energy is counted over whole repetitions, and a mean knows its own scatter."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from benchctl.errors import RecordTooShort
from benchctl.measure.budget.signals import mean_with_scatter
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.signal.supply import (
    Span,
    at_rest,
    extremes,
    mean,
    mean_product,
    mean_square,
    swing,
    whole_cycles,
    whole_repetitions,
)

Digitised = Callable[..., Trace]


def capture(trace: Trace, interval_s: float = 1e-4) -> Capture:
    return Capture("a.npz", -0.01, interval_s, {"supply current": trace}, 0.0)


@pytest.mark.parametrize("mains_hz", [50.0, 60.0])
@pytest.mark.parametrize("duration_s", [0.1, 0.13])
def test_hum_is_no_part_of_a_mean_at_rest_nor_of_its_uncertainty(
    digitised: Digitised, mains_hz: float, duration_s: float
) -> None:
    """10 mV of hum with its third harmonic beside noise of 2 mV, on 0.5 V: what is left is sigma / sqrt n (JCGM 100,
    4.2.3), and a sine over whole periods has no mean. Cut into parts of other lengths, hum would scatter by mV."""
    times_s = np.arange(round(duration_s / 5e-6)) * 5e-6
    hum = 0.01 * np.sin(2 * np.pi * mains_hz * times_s + 1.0) + 0.004 * np.sin(6 * np.pi * mains_hz * times_s)
    noise = np.random.default_rng(6).normal(0.0, 2e-3, times_s.size)
    record = capture(digitised(0.5 + hum + noise, 2.0), 5e-6)
    found = mean_with_scatter(record.traces["supply current"], at_rest(record))
    own = 2e-3 / np.sqrt(times_s.size)
    assert found.nominal_value == pytest.approx(0.5, abs=4.0 * own)
    assert found.std_dev < 2.5 * own


def test_no_mean_is_known_better_than_the_noise_of_its_samples_leaves_it(digitised: Digitised) -> None:
    """Noise of 2 mV in 20,000 samples leaves 14 uV (JCGM 100, 4.2.3), whatever the scatter of five parts says."""
    for seed in range(10):
        noise = np.random.default_rng(seed).normal(0.0, 2e-3, 20_000)
        record = capture(digitised(0.5 + noise, 2.0), 5e-6)
        found = mean_with_scatter(record.traces["supply current"], at_rest(record))
        assert found.std_dev > 0.95 * 2e-3 / np.sqrt(20_000)


def test_a_carrier_is_no_noise_of_the_samples_of_a_mean(digitised: Digitised) -> None:
    """0.2 V of 13.1 kHz, a thousandth of which noise would leave of a mean, over 1,310 whole periods."""
    times_s = 5e-6 * np.arange(20_000)
    record = capture(digitised(0.5 + 0.2 * np.sin(2 * np.pi * 13_100.0 * times_s), 2.0), 5e-6)
    found = mean_with_scatter(record.traces["supply current"], at_rest(record))
    assert found.std_dev < 0.1 * 0.2 / np.sqrt(2.0 * 20_000)


def test_a_record_of_a_few_periods_of_the_mains_is_taken_whole(digitised: Digitised) -> None:
    assert at_rest(capture(digitised(np.zeros(500), 10.0))) == Span(0, 500, 8)


def test_only_whole_repetitions_count(digitised: Digitised) -> None:
    record = capture(digitised(np.zeros(2500), 10.0))
    assert whole_repetitions(record, 0.1) == Span(0, 2000, 2)


def test_a_record_of_exactly_one_repetition_is_enough(digitised: Digitised) -> None:
    assert whole_repetitions(capture(digitised(np.zeros(5000), 10.0)), 0.5) == Span(0, 5000, 1)


def test_less_than_one_repetition_is_refused(digitised: Digitised) -> None:
    with pytest.raises(RecordTooShort, match="less than one repetition"):
        whole_repetitions(capture(digitised(np.zeros(4999), 10.0)), 0.5)


def test_less_than_two_cycles_are_refused(digitised: Digitised) -> None:
    with pytest.raises(RecordTooShort):
        whole_cycles(capture(digitised(np.zeros(19), 10.0)), 1000.0)


def test_whole_cycles_leave_no_part_of_one(digitised: Digitised) -> None:
    assert whole_cycles(capture(digitised(np.zeros(555), 10.0)), 1000.0).stop == 550


def test_many_cycles_are_cut_into_like_parts(digitised: Digitised) -> None:
    span = whole_cycles(capture(digitised(np.zeros(10_055), 10.0)), 1000.0)
    assert [part.samples for part in span.parts()] == [1250] * 8


def test_few_parts_tell_nothing_of_their_scatter() -> None:
    assert Span(0, 300, 3).parts() == []
    assert len(Span(0, 400, 4).parts()) == 4


def test_means_are_those_of_the_span(digitised: Digitised) -> None:
    ramp = digitised(np.arange(1000) / 200.0, 12.0, bits=16)
    span = Span(200, 800)
    values = ramp.values()[200:800]
    assert mean(ramp, span) == pytest.approx(values.mean())
    assert mean_square(ramp, span) == pytest.approx((values**2).mean())


def test_a_mean_of_products_is_no_product_of_means(digitised: Digitised) -> None:
    wave = digitised(np.sin(2 * np.pi * np.arange(200_000) / 100), 3.0, bits=16)
    span = Span(0, 200_000)
    assert mean_product(wave, wave, span) == pytest.approx(0.5, rel=1e-4)
    assert mean(wave, span) == pytest.approx(0.0, abs=1e-4)


def test_one_noisy_sample_is_no_peak_but_a_millisecond_is(digitised: Digitised) -> None:
    values = np.full(100_000, 5.0)
    values[40_000] = 9.0
    values[60_000:61_000] = 7.0
    lowest, highest = extremes(digitised(values, 20.0), Span(0, 100_000), 1e-6)
    assert highest.value == pytest.approx(7.0, rel=1e-3)
    assert lowest.value == pytest.approx(5.0, rel=1e-3)


@pytest.mark.parametrize(("samples", "peak"), [(25, 1.0), (5, 0.2)])
def test_a_peak_lasts_half_a_period_of_20_khz(digitised: Digitised, samples: int, peak: float) -> None:
    """25 microseconds: a pulse as long as that counts in full, a shorter one by its part of them."""
    pulse = np.zeros(1000)
    pulse[500 : 500 + samples] = 1.0
    _, highest = extremes(digitised(pulse, 10.0), Span(0, 1000), 1e-6)
    assert highest.value == pytest.approx(peak, abs=0.01)


def test_a_reading_over_a_period_of_the_mains_may_be_anywhere_in_a_slow_swing(digitised: Digitised) -> None:
    """A mean over T of a sine of frequency f has |sin(pi f T) / (pi f T)| of its amplitude (closed form)."""
    times = np.arange(20_000) * 1e-5
    for frequency_hz in (20.0, 40.0):
        trace = digitised(30.0 + 5.0 * np.sin(2.0 * np.pi * frequency_hz * times), 100.0)
        left = abs(np.sin(np.pi * frequency_hz * 0.02) / (np.pi * frequency_hz * 0.02))
        assert swing(trace, Span(0, 20_000), 1e-5) == pytest.approx(2.0 * 5.0 * left, rel=2e-3)


def test_a_reading_averages_a_swing_of_whole_periods_away_and_a_short_record_tells_none(digitised: Digitised) -> None:
    times = np.arange(20_000) * 1e-5
    trace = digitised(30.0 + 5.0 * np.sin(2.0 * np.pi * 1000.0 * times), 100.0)
    assert swing(trace, Span(0, 20_000), 1e-5) < 0.01
    assert swing(trace, Span(0, 3000), 1e-5) == 0.0
