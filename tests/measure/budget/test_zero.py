"""The zero of an oscilloscope's inputs: taken a range at a time, subtracted, and what is left of its error."""

from __future__ import annotations

import math

import numpy as np
import pytest

from benchctl.measure.budget.signals import Signals
from benchctl.measure.budget.zero import Zero, beyond_stated, half_step, limit_left, subtracted, trace_name, zeros_of
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.signal.supply import whole_record
from benchctl.measure.uncertainty import Accuracy

SIGNAL = "output A"
# As a data sheet has it: 3 % of the reading, and a tenth of one of eight divisions.
SCOPE = (Accuracy(reading=0.03, range=0.0125),)
BITS = 8


def trace(mean_v: float, volts_per_code: float = 0.5, *, spread: int = 1, samples: int = 1000) -> Trace:
    """Codes that go up and down by `spread` around the nearest code to a mean: 8 bits, 256 codes to the range."""
    around = np.resize([-spread, spread], samples) + round(mean_v / volts_per_code)
    return Trace(around.astype(np.int16), volts_per_code, 0.0, "V", -127, 126)


def capture(**traces: Trace) -> Capture:
    return Capture("test", 0.0, 1e-4, {name.replace("_", " "): each for name, each in traces.items()}, 0.0)


def record_of_zeros(*traces: Trace) -> Capture:
    named = {trace_name(number, SIGNAL): each for number, each in enumerate(traces, start=1)}
    return Capture("zero", 0.0, 1e-4, named, 0.0)


def test_a_record_of_zeros_tells_mean_and_noise_of_each_range() -> None:
    fine, wide = zeros_of(record_of_zeros(trace(0.02, 0.01), trace(1.5)), {SIGNAL: SCOPE}, BITS)[SIGNAL]
    assert (fine.value, wide.value) == (pytest.approx(0.02), pytest.approx(1.5))
    assert (fine.noise, wide.noise) == (pytest.approx(0.01), pytest.approx(0.5))  # one code to either side


def test_what_is_left_is_a_tenth_of_what_is_stated_and_two_roundings() -> None:
    """A range of 128 V: 0.16 V of drift, and two roundings to 0.5 V, each evenly spread (JCGM 100, 5.1.2)."""
    assert limit_left(SCOPE, 128.0, BITS) == pytest.approx(math.sqrt(0.16**2 + 0.25**2 + 0.25**2), rel=0.01)
    assert half_step(128.0, BITS) == 0.25


def test_the_zero_of_the_same_range_is_subtracted_and_no_other() -> None:
    zeros = {SIGNAL: (Zero(0.01, 0.02, 0.01, 0.003), Zero(0.5, 1.5, 0.5, 0.4))}
    got = subtracted(capture(output_A=trace(11.5), output_B=trace(11.5)), zeros)
    assert got.traces["output A"].values().mean() == pytest.approx(10.0)
    assert got.traces["output A"].zero_limit == 0.4
    assert got.traces["output B"].values().mean() == pytest.approx(11.5)
    assert got.traces["output B"].zero_limit is None
    other_range = subtracted(capture(output_A=trace(11.5, 0.25)), zeros)
    assert other_range.traces["output A"].zero_limit is None


def test_a_zero_is_subtracted_once_however_often_it_is_asked_for() -> None:
    zeros = {SIGNAL: (Zero(0.5, 1.5, 0.5, 0.4),)}
    once = subtracted(capture(output_A=trace(11.5)), zeros)
    assert subtracted(once, zeros).traces["output A"].zero == once.traces["output A"].zero == 1.5


def test_a_mean_has_the_uncertainty_that_is_left_in_place_of_the_stated_one() -> None:
    """Rectangular limits (JCGM 100, 4.3.7): 3 % of 10 V and 0.4 V, instead of 0.0125 of 126.5 V."""
    record = subtracted(capture(output_A=trace(11.5, spread=0)), {SIGNAL: (Zero(0.5, 1.5, 0.5, 0.4),)})
    mean = Signals(record, {SIGNAL: SCOPE}).mean(SIGNAL, whole_record(record))
    assert mean.nominal_value == pytest.approx(10.0)
    assert mean.std_dev == pytest.approx(math.hypot(0.3, 0.4) / math.sqrt(3.0), rel=1e-3)
    stated = Signals(capture(output_A=trace(11.5, spread=0)), {SIGNAL: SCOPE}).mean(SIGNAL, whole_record(record))
    assert stated.std_dev == pytest.approx(math.hypot(0.345, 0.0125 * 126.5) / math.sqrt(3.0), rel=1e-3)


@pytest.mark.parametrize("dc_v", [1.5, -1.5])
def test_a_voltage_at_the_probe_is_no_zero_on_the_range_that_shows_it(dc_v: float) -> None:
    """1.5 V pass for an error of zero on a range of 126 V and not on one of 5 V."""
    record = record_of_zeros(trace(dc_v, 0.02), trace(dc_v))
    found = beyond_stated(record, {SIGNAL: SCOPE}, BITS)
    assert found.keys() == {SIGNAL}
    assert found[SIGNAL].scale == 0.02
    assert not beyond_stated(record_of_zeros(trace(dc_v)), {SIGNAL: SCOPE}, BITS)
