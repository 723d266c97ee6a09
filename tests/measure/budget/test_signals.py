"""In one capture each chain and each load is one variable: what it does to a ratio of two of its values cancels."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.signal.supply import Span, whole_cycles
from benchctl.measure.uncertainty import Accuracy, LoadResistance

CHAIN = (Accuracy(reading=0.005, range=0.001), Accuracy(reading=0.005))
EVERY_SIGNAL = dict.fromkeys(("output A", "output current A", "supply voltage", "supply current"), CHAIN)
LOAD = LoadResistance(4.0, 4.0, 0.002)


@pytest.fixture
def signals(tone_record: Callable[..., Capture], digitised: Callable[..., Trace]) -> Signals:
    """30 V peak into 4 ohm at 80 % of the captured current, from 14.4 V and 20 A."""
    volts = tone_record().traces["output A"].values()
    extra = {
        "output current A": digitised(0.8 * volts / 4.0, 20.0, unit="A"),
        "supply voltage": digitised(np.full(volts.size, 14.4), 32.0),
        "supply current": digitised(np.full(volts.size, 20.0), 80.0, unit="A"),
    }
    return Signals(tone_record(extra=extra), EVERY_SIGNAL, {"A": LOAD})


def test_the_converters_range_is_an_error_of_zero_which_an_rms_without_dc_hardly_shows(signals: Signals) -> None:
    value = signals.rms("output A", Span(0, 100_000))
    assert value.nominal_value == pytest.approx(30 / math.sqrt(2), rel=1e-4)
    gains = (0.005 * value.nominal_value, 0.005 * value.nominal_value)
    assert value.std_dev == pytest.approx(math.hypot(*gains) / math.sqrt(3), rel=1e-3)


def test_a_mean_shows_all_of_it(signals: Signals) -> None:
    value = signals.mean("supply voltage", Span(0, 100_000))
    errors = (0.005 * value.nominal_value, 0.005 * value.nominal_value, 0.001 * 32.0)
    assert value.std_dev == pytest.approx(math.hypot(*errors) / math.sqrt(3), rel=1e-3)


def test_where_a_current_probe_is_wired_power_is_the_mean_of_v_times_i(signals: Signals) -> None:
    power = signals.mean_power("A", whole_cycles(signals.capture, 1000.0))
    assert power.nominal_value == pytest.approx(0.8 * 30.0**2 / 8, rel=1e-3)


def test_elsewhere_it_comes_from_the_loads_resistance(tone_record: Callable[..., Capture]) -> None:
    power = Signals(tone_record(), EVERY_SIGNAL, {"A": LOAD}).mean_power("A", Span(0, 100_000))
    assert power.nominal_value == pytest.approx(30.0**2 / 8, rel=1e-3)


def test_supply_power_has_the_errors_of_both_its_chains(signals: Signals) -> None:
    power = signals.supply_power(Span(0, 100_000))
    assert power is not None
    assert power.nominal_value == pytest.approx(288.0, rel=1e-3)
    voltage = math.hypot(0.005, 0.001 * 32 / 14.4, 0.005)
    current = math.hypot(0.005, 0.001 * 80 / 20, 0.005)
    assert power.std_dev / power.nominal_value == pytest.approx(math.hypot(voltage, current) / math.sqrt(3), rel=1e-2)


def test_the_scatter_of_a_steady_record_counts(tone_record: Callable[..., Capture]) -> None:
    drifting = tone_record(shape=lambda volts: volts * np.linspace(1.0, 0.9, volts.size), bits=16, duration_s=0.128)
    span = whole_cycles(drifting, 1000.0)
    value = Signals(drifting, {}, {}).rms("output A", span)
    means = 30 / math.sqrt(2) * (1.0 - 0.1 * (np.arange(8) + 0.5) / 8)
    assert value.std_dev == pytest.approx(means.std(ddof=1) / math.sqrt(8), rel=1e-2)


def test_the_load_is_the_same_for_all_powers_of_a_channel(signals: Signals) -> None:
    quiet = Signals(signals.capture, {}, {"A": LOAD})
    ratio = quiet.power("A", quiet.on("output A", 20.0)) / quiet.power("A", quiet.on("output A", 10.0))
    assert ratio.std_dev == pytest.approx(0.0, abs=1e-12)


def test_a_capture_without_any_load_gives_no_power(signals: Signals) -> None:
    with pytest.raises(MeasurementError, match="has a load"):
        _ = Signals(signals.capture, {}, {"B": LOAD}).channels


def test_a_load_that_was_not_captured_is_known_to_be_missing(signals: Signals) -> None:
    assert signals.has_every_load
    assert not Signals(signals.capture, {}, {"A": LOAD, "B": LOAD}).has_every_load
