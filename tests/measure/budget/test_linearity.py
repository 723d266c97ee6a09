"""What linearity leaves in a ratio of two amplitudes, against channels that bend and whose steps differ."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from benchctl.measure.budget.linearity import on_ratio
from benchctl.measure.freedom import combined
from benchctl.measure.signal.record import Samples, Trace
from benchctl.measure.uncertainty import Accuracy, exactly

ANGLES = 2.0 * math.pi * (np.arange(1 << 16) + 0.5) / (1 << 16)


def trace(bits: int = 12, full_scale: float = 2.0) -> Trace:
    """Codes that fill the converter's range, in units of half of it."""
    half = 1 << (bits - 1)
    return Trace(np.arange(-half + 1, half - 1, dtype=np.int32), full_scale / 2.0 / half, 0.0, "V", -half, half - 1)


def seen(amplitude: float, channel: Callable[[Samples], Samples]) -> float:
    """The amplitude of the fundamental that a channel shows of a sine."""
    return float(2.0 * np.mean(channel(amplitude * np.sin(ANGLES)) * np.sin(ANGLES)))


def relative_u(first: float, second: float, linearity: float, bits: int = 24) -> float:
    ratio = on_ratio(
        exactly(second / first), (first, second), (trace(bits), trace(bits)), (Accuracy(linearity=linearity),)
    )
    return combined(ratio).standard / (second / first)


@pytest.mark.parametrize("second", [0.999, 0.9, 0.5, 0.1])
def test_a_bend_of_third_order_stays_within_the_limit_and_meets_it_at_full_range(second: float) -> None:
    """x + 3 sqrt(3) L (x^3 - x) is L of the range off a straight line at most (its extremes are at 1 / sqrt 3)."""
    linearity = 0.002

    def bent(x: Samples) -> Samples:
        return x + 3.0 * math.sqrt(3.0) * linearity * (x**3 - x)

    assert np.abs(bent(np.linspace(-1, 1, 10001)) - np.linspace(-1, 1, 10001)).max() / 2.0 == pytest.approx(linearity)
    off = abs(seen(second, bent) / seen(1.0, bent) / second - 1.0)
    limit = math.sqrt(3.0) * relative_u(1.0, second, linearity)
    assert off == pytest.approx(limit, rel=0.03)


def test_nearly_equal_amplitudes_are_told_apart_far_better_than_the_channel_is_straight() -> None:
    """0.5 % apart at 0.1 %: 3.9 x 0.1 % x (1 - 0.995^2) = 39 ppm."""
    assert math.sqrt(3.0) * relative_u(1.0, 0.995, 1e-3) == pytest.approx(39e-6, rel=0.02)


@pytest.mark.parametrize("amplitude", [20, 100, 500])
def test_steps_of_random_width_move_an_amplitude_by_as_much_as_is_allowed(amplitude: int) -> None:
    """60 converters whose steps are each off by up to half a step."""
    chance = np.random.default_rng(3)
    half = 512

    def converter() -> Callable[[Samples], Samples]:
        errors = chance.uniform(-0.5, 0.5, size=2 * half)
        return lambda x: x + errors[np.round(x).astype(int) + half]

    off = [seen(amplitude, converter()) / amplitude - 1.0 for _ in range(60)]
    allowed = relative_u(amplitude, amplitude, 0.0, bits=10) / math.sqrt(2.0)
    step_of_trace = 2.0 / 2**10
    allowed *= (1.0 / step_of_trace) ** 1.5  # one step a unit here
    assert 0.6 < float(np.std(off)) / allowed < 1.1


def test_between_two_ranges_the_gain_does_not_cancel() -> None:
    ratio = on_ratio(exactly(0.1), (1.0, 0.1), (trace(), trace(full_scale=0.2)), (Accuracy(reading=0.03),))
    assert combined(ratio).standard / 0.1 == pytest.approx(0.03 * math.sqrt(2.0 / 3.0))


def test_a_silent_record_keeps_its_ratio() -> None:
    assert on_ratio(exactly(0.0), (1.0, 0.0), (trace(), trace()), (Accuracy(linearity=1e-3),)).std_dev == 0.0
