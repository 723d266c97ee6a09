"""What instruments show against each other, from records and readings that are made up for the purpose."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from benchctl.measure.agreement.compared import comparisons
from benchctl.measure.agreement.comparison import contradictions
from benchctl.measure.analyses.context import BurstContext, ContinuousContext, IdleContext
from benchctl.measure.analyses.look_context import LookContext
from benchctl.measure.analyses.soak_figures import SoakContext
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.uncertainty import Accuracy, LoadResistance

RATE_HZ = 100e3
TONE_HZ = 1e3
LOAD = LoadResistance(nominal_ohm=4.0, measured_ohm=4.0)
# An 8-bit oscilloscope of 3 %, a clamp of 2 %, and a supply that shows tenths of an ampere.
ACCURACY = {
    "accuracy": {
        "output A": (Accuracy(reading=0.03),),
        "output B": (Accuracy(reading=0.03),),
        "supply current": (Accuracy(reading=0.03, fixed=0.1), Accuracy(reading=0.02)),
        "supply voltage": (Accuracy(reading=0.03),),
    },
    "readings_accuracy": {
        "supply_current": (Accuracy(reading=0.005, fixed=0.1),),
        "supply_voltage": (Accuracy(reading=0.005, fixed=0.1),),
    },
    "zero_allowance": {"supply current": 0.5},
}
CONTINUOUS = ContinuousContext(frequency_hz=TONE_HZ, loads={"A": LOAD, "B": LOAD}, **ACCURACY)  # type: ignore[arg-type]
IDLE = IdleContext(**ACCURACY)  # type: ignore[arg-type]


def trace(values: Any, full_scale: float, unit: str = "V", bits: int = 8, noise: int = 0) -> Trace:
    """Digitised in so many bits; `noise` is a seed, or 0 for none."""
    scale = full_scale / 2**bits
    codes = np.asarray(values, dtype=np.float64) / scale
    if noise:
        codes = codes + np.random.default_rng(noise).normal(0.0, 0.4, codes.size)
    return Trace(np.rint(codes).astype(np.int16), scale, 0.0, unit, -(2 ** (bits - 1)), 2 ** (bits - 1) - 1)


def record(**traces: Trace) -> Capture:
    return Capture("record", 0.0, 1.0 / RATE_HZ, {name.replace("_", " "): each for name, each in traces.items()}, 1.0)


def sine(rms: float, mean: float = 0.0, frequency_hz: float = TONE_HZ, samples: int = 8000) -> Any:
    return mean + np.sqrt(2.0) * rms * np.sin(2.0 * np.pi * frequency_hz * np.arange(samples) / RATE_HZ)


def steady(volts: float = 24.5, amperes: float = 24.0, supply_v: float = 14.3) -> Capture:
    """300 W into 4 ohm each from 24 A at 14.3 V: what no amplifier does; 20 V are 200 W from 343 W."""
    return record(
        output_A=trace(sine(volts), 100.0, noise=1),
        output_B=trace(sine(volts), 100.0, noise=2),
        supply_current=trace(sine(0.3, amperes), 80.0, "A", noise=3),
        supply_voltage=trace(sine(0.01, supply_v), 40.0, noise=4),
    )


def readings(amperes: float, volts: float = 14.4, count: int = 20) -> dict[str, Sequence[float]]:
    return {"supply_current": [amperes] * count, "supply_voltage": [volts] * count}


def wrong(
    analysis: str, captures: Mapping[str, Capture], read: Mapping[str, Sequence[float]], context: Any
) -> set[str]:
    """The quantities that contradict themselves."""
    return {each.quantity for each in contradictions(comparisons(analysis, captures, read, context))}


def at_full_power(read_a: float, **shown: float) -> set[str]:
    return wrong("continuous", {"continuous": steady(**{"volts": 20.0, **shown})}, readings(read_a), CONTINUOUS)


def test_honest_instruments_of_an_ordinary_bench_agree() -> None:
    """3 % on the oscilloscope, 2 % on the clamp, tenths of an ampere on the supply: each at its limit."""
    assert at_full_power(24.0) == set()
    assert at_full_power(24.0 * 1.005 + 0.1, amperes=24.0 * 0.96) == set()
    assert at_full_power(24.0 * 0.995 - 0.1, amperes=24.0 * 1.04, supply_v=14.3 * 1.03) == set()


@pytest.mark.parametrize("factor", [0.5, 2.0, 10.0, -1.0, 0.0])
def test_a_supply_that_reads_its_current_wrong_contradicts_the_clamp(factor: float) -> None:
    assert "supply current" in at_full_power(24.0 * factor)


def test_more_power_out_than_in_is_no_efficiency() -> None:
    """Twice 150 W from 240 W, on a bench without a clamp: nothing else shows it."""
    outputs = steady(volts=24.5)
    alone = replace(outputs, traces={name: outputs.traces[name] for name in ("output A", "output B")})
    assert wrong("continuous", {"continuous": alone}, readings(16.7), CONTINUOUS) == {"power"}
    assert wrong("continuous", {"continuous": alone}, readings(0.0), CONTINUOUS) == {"power"}
    assert wrong("continuous", {"continuous": alone}, readings(24.0), CONTINUOUS) == set()


def test_a_current_below_zero_is_a_clamp_the_wrong_way_round() -> None:
    """Beyond its zero: half an ampere below is a clamp that nobody zeroed."""
    assert wrong("idle", {"idle": record(supply_current=trace(sine(0.01, -1.6), 10.0, "A"))}, {}, IDLE)
    assert not wrong("idle", {"idle": record(supply_current=trace(sine(0.01, -0.4), 10.0, "A"))}, {}, IDLE)


def test_a_clamp_that_nobody_zeroed_contradicts_nothing_at_idle() -> None:
    """A quarter of a per cent of 200 A is half an ampere."""
    capture = {"idle": record(supply_current=trace(sine(0.01, 2.05), 10.0, "A"))}
    assert wrong("idle", capture, readings(1.6, count=4), IDLE) == set()


def test_leads_take_a_part_of_the_supplys_voltage_and_add_nothing() -> None:
    drooped, raised, halved = (
        {"idle": record(supply_voltage=trace(sine(0.01, volts), 40.0, noise=1))} for volts in (12.8, 16.9, 7.2)
    )
    assert wrong("idle", drooped, readings(1.6, count=4), IDLE) == set()
    assert wrong("idle", raised, readings(1.6, count=4), IDLE) == {"supply voltage"}
    assert wrong("idle", halved, readings(1.6, count=4), IDLE) == {"supply voltage"}


def test_what_warms_between_a_reading_and_a_record_contradicts_nothing() -> None:
    """2 % of the current, of instruments without any error of their own."""
    exact = IdleContext()
    for amperes, expected in ((20.3, set()), (21.0, {"supply current"})):
        capture = {"idle": record(supply_current=trace(sine(0.0, amperes), 80.0, "A", bits=14))}
        assert wrong("idle", capture, readings(20.0, count=4), exact) == expected


def test_readings_of_a_tone_too_short_for_a_slow_supply_are_compared_with_nothing() -> None:
    """A second of full power, of which a supply that reads every two seconds shows nothing but the idle current."""
    stale = readings(1.6, count=4)
    found = comparisons("continuous", {"continuous": steady(volts=20.0)}, stale, CONTINUOUS)
    assert [each for each in found if each.first.who == "the supply reads"] == []


def test_a_supply_that_averages_for_two_seconds_is_waited_for() -> None:
    """A quarter of a second after each other, from 1.6 A at idle: a mean over two seconds, and one that lags by one."""
    t_s = 0.15 + 0.25 * np.arange(1, 9)
    boxcar = 1.6 + 22.4 * np.minimum(t_s / 2.0, 1.0)
    lagging = 24.0 - 22.4 * np.exp(-t_s)
    for seen in (boxcar, lagging, boxcar[:3]):
        read = {"supply_current": list(seen), "supply_voltage": [14.4] * len(seen)}
        assert wrong("continuous", {"continuous": steady(volts=20.0)}, read, CONTINUOUS) <= {"power"}
        assert "supply current" not in wrong("continuous", {"continuous": steady(volts=20.0)}, read, CONTINUOUS)


def test_the_peak_of_a_steady_tone_lies_between_its_mean_and_a_little_over_twice_it() -> None:
    """A class D stage without a reservoir draws as sine squared: peaks of twice the mean are right."""
    squared = 24.0 * 2.0 * np.sin(2.0 * np.pi * 50.0 * np.arange(8000) / RATE_HZ) ** 2
    spikes = np.where(np.arange(8000) % 1000 < 100, 120.0, 13.3)
    for amperes, expected in ((squared, set()), (spikes, {"peak supply current"})):
        capture = {"continuous": replace(steady(), traces={"supply current": trace(amperes, 300.0, "A")})}
        found = comparisons("continuous", capture, readings(24.0), replace(CONTINUOUS, loads={}))
        assert {each.quantity for each in contradictions(found)} & {"peak supply current"} == expected


def test_bursts_give_less_over_a_whole_repetition_than_they_take() -> None:
    """The supply's readings come and go with the bursts, so only the records tell."""
    context = BurstContext(
        frequency_hz=TONE_HZ, loads={"A": LOAD, "B": LOAD}, cycles=8, every_s=0.05, low_level_ratio=0.1, **ACCURACY
    )  # type: ignore[arg-type]
    assert wrong("burst", {"full": steady(volts=20.0)}, {}, context) == set()
    assert wrong("burst", {"full": steady(volts=20.0, amperes=12.0)}, {}, context) == {"power"}


# -- the outputs against the generator --------------------------------------------------------------------------


def look(*tones: tuple[float, float], gain: float | None = 31.6) -> set[str]:
    """RMS volts at output A at each tone, of 10 mV at the input."""
    captures = {f"{hz:g}": record(output_A=trace(sine(volts, frequency_hz=hz), 4.0, bits=12)) for hz, volts in tones}
    context = LookContext(
        tones_hz={f"{hz:g}": hz for hz, _ in tones},
        level_v=0.01,
        gain=gain,
        level_accuracy=(Accuracy(reading=0.005),),
        **ACCURACY,
    )  # type: ignore[arg-type]
    return wrong("look", captures, {}, context)


@pytest.mark.parametrize("factor", [0.5, 2.0, 0.001])
def test_an_output_that_is_not_the_generators_level_times_the_gain_is_noticed(factor: float) -> None:
    assert look((1000.0, 0.316 * factor)) == {"output voltage"}


@pytest.mark.parametrize("factor", [0.72, 1.0, 1.4])
def test_a_gain_may_be_off_by_three_decibels(factor: float) -> None:
    assert look((1000.0, 0.316 * factor)) == set()


def test_a_filter_that_takes_one_tone_passes_another() -> None:
    assert look((1000.0, 0.002), (50.0, 0.3)) == set()


def test_a_gain_that_a_hand_has_set_is_compared_with_nothing() -> None:
    assert look((1000.0, 0.1), gain=None) == set()


def test_two_channels_with_the_same_codes_are_one() -> None:
    one = trace(sine(0.316), 4.0, bits=12, noise=1)
    same, silent = record(output_A=one, supply_current=one), trace(np.zeros(8000), 4.0)
    assert {each.quantity for each in comparisons("ramp", {"outputs": same}, {}, IDLE)} == {"records"}
    assert comparisons("ramp", {"outputs": record(output_A=silent, output_B=silent)}, {}, IDLE) == []


# -- heat -------------------------------------------------------------------------------------------------------


def soaked(first_c: float, last_c: float, count: int = 601) -> set[str]:
    """Seconds of 20 A x 14.4 V less two times 25 W: 238 W of heat on 0.5 K/W with 500 s make 83 K after ten
    minutes, closed form."""
    temperatures = np.linspace(first_c, last_c, count)
    read = {"time": list(range(count)), "heatsink": list(temperatures), **readings(20.0, count=count)}
    context = SoakContext(
        frequency_hz=TONE_HZ,
        first_loads={"A": LOAD, "B": LOAD},
        loads={"A": LOAD, "B": LOAD},
        heatsink_k_per_w=0.5,
        heatsink_time_constant_s=500.0,
        **ACCURACY,
    )  # type: ignore[arg-type]
    last = steady(volts=10.0, amperes=20.0)
    return wrong("soak", {"first": last, "last": last}, read, context)


@pytest.mark.parametrize(("first_c", "last_c"), [(25.0, 25.0), (25.0, 25.2), (0.0, 0.0), (-25.0, -60.0)])
def test_a_heatsink_that_never_moves_under_load_is_no_heatsink(first_c: float, last_c: float) -> None:
    assert soaked(first_c, last_c) == {"heatsink temperature"}


def test_a_drive_too_short_to_warm_anything_tells_nothing_of_a_sensor() -> None:
    """Twenty seconds of the same 238 W make 119 K (1 - exp(-20 / 500)), 4.7 K: within what sensors lag."""
    assert soaked(25.0, 25.0, count=21) == set()


@pytest.mark.parametrize(("first_c", "last_c"), [(25.0, 60.0), (25.0, 36.0), (70.0, 68.0)])
def test_a_heatsink_better_than_its_plate_or_warm_before_is_believed(first_c: float, last_c: float) -> None:
    assert soaked(first_c, last_c) == set()
