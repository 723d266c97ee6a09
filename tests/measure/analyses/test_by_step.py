"""From captures, readings and context to figures: the one path for runner and archive."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from pydantic import TypeAdapter

from benchctl.errors import ClippedRecord, MeasurementError, SilentRecord
from benchctl.measure.analyses.by_step import (
    ANALYSES,
    burst,
    continuous,
    first_cycles,
    idle,
    steady_tones,
    worst_cycles,
)
from benchctl.measure.analyses.context import BurstContext, ContinuousContext, IdleContext
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.uncertainty import Accuracy, LoadResistance
from tests.measure.convolved import reach

Record = Callable[..., Capture]
Digitised = Callable[..., Trace]

CHAIN = (Accuracy(reading=0.005, range=0.001), Accuracy(reading=0.005))
SIGNALS = ("output A", "output B", "supply current", "supply voltage")
METERS = {
    "supply_current": (Accuracy(reading=0.003, fixed=0.06),),
    "supply_voltage": (Accuracy(reading=0.0005, fixed=0.01),),
    "heatsink": (Accuracy(fixed=1.0),),
}
LOADS = {
    "A": LoadResistance(4.0, 4.013, 0.002, 60e-6, 45.0, temperature_uncertainty_k=1.0),
    "B": LoadResistance(4.0, 3.991, 0.002, 60e-6),
}
BURST = BurstContext(
    accuracy=dict.fromkeys(SIGNALS, CHAIN),
    readings_accuracy=METERS,
    frequency_hz=1000.0,
    loads=LOADS,
    cycles=8,
    every_s=0.1,
    low_level_ratio=0.1,
)
TONE = ContinuousContext(accuracy=BURST.accuracy, readings_accuracy=METERS, frequency_hz=1000.0, loads=LOADS)
IDLE = IdleContext(accuracy=BURST.accuracy, readings_accuracy=METERS)


@pytest.fixture
def supply(digitised: Digitised) -> dict[str, Trace]:
    """14.4 V that sag by 0.4 V and 5 A that rise to 25 A, for a tenth of 100 ms."""
    loaded = np.arange(100_000) < 10_000
    return {
        "supply current": digitised(np.where(loaded, 25.0, 5.0), 80.0, unit="A"),
        "supply voltage": digitised(np.where(loaded, 14.0, 14.4), 32.0),
    }


def named(figures: list[Figure], name: str, channel: str = "") -> Figure:
    (figure,) = (figure for figure in figures if (figure.name, figure.channel) == (name, channel))
    return figure


def sagging(time_s: np.ndarray) -> np.ndarray:
    return 1.0 - 0.1 * (1.0 - np.exp(-np.maximum(time_s, 0.0) / 3e-3))


# --- burst


def test_a_burst_gives_the_figures_of_both_drives(burst_record: Record, supply: dict[str, Trace]) -> None:
    record = burst_record(channels=("A", "B"), extra=supply, envelope=sagging)
    figures = burst(
        {"clean": replace(record, name="c.npz"), "full": replace(record, name="f.npz")}, {"heatsink": [40.0]}, BURST
    )
    found = {(figure.name, figure.channel, figure.capture) for figure in figures}
    each, whole = ("A", "B"), ("A", "B", "total")
    powers = [f"burst_power_{which}" for which in ("first", "highest", "lowest", "last")]
    voltages = ["output_peak", "output_rms", "droop", "droop_time_constant"]
    draw = ["supply_current", "supply_current_peak", "supply_voltage", "supply_voltage_lowest", "supply_voltage_sag"]
    assert found == {
        *(("burst_power_clean", channel, "c.npz") for channel in whole),
        *(("thd_n", channel, "c.npz") for channel in each),
        *((name, channel, "f.npz") for name in powers for channel in whole),
        *((name, channel, "f.npz") for name in voltages for channel in each),
        *((name, "", "f.npz") for name in [*draw, "efficiency", "watts_per_ampere"]),
        ("heatsink_temperature", "", ""),
    }
    assert {figure.burst_cycles for figure in figures} == {8}


def test_the_headline_is_the_lowest_whole_cycle_into_the_warm_load(burst_record: Record) -> None:
    figures = burst({"clean": burst_record(channels=("A", "B"))}, {}, BURST)
    cold = 30.0**2 / 2 / 4.013
    assert named(figures, "burst_power_clean", "A").value == pytest.approx(cold / (1 + 60e-6 * 25), rel=1e-3)
    sum_of_both = named(figures, "burst_power_clean", "A").value + named(figures, "burst_power_clean", "B").value
    assert named(figures, "burst_power_clean", "total").value == pytest.approx(sum_of_both, rel=1e-6)


def test_first_highest_lowest_and_last_follow_the_rails(burst_record: Record, supply: dict[str, Trace]) -> None:
    figures = burst({"full": burst_record(channels=("A", "B"), extra=supply, envelope=sagging)}, {}, BURST)
    power = {
        which: named(figures, f"burst_power_{which}", "A").value for which in ("first", "highest", "lowest", "last")
    }
    assert power["first"] == power["highest"] > power["lowest"] == power["last"]
    droop = named(figures, "droop", "A")
    peak_times = np.array([0.00025, 0.00075])
    first, last = sagging(peak_times).mean(), sagging(peak_times + 0.007).mean()
    assert droop.value == pytest.approx(1 - last / first, abs=1e-3)
    constant = named(figures, "droop_time_constant", "A")
    assert constant.expanded_uncertainty is not None
    assert abs(constant.value - 3e-3) < constant.expanded_uncertainty


def test_efficiency_is_energy_out_over_energy_in_across_the_whole_repetition(
    burst_record: Record, supply: dict[str, Trace]
) -> None:
    figures = burst({"full": burst_record(channels=("A", "B"), extra=supply)}, {}, BURST)
    hot = {"A": 4.013 * (1 + 60e-6 * 25), "B": 3.991 * (1 + 60e-6 * 75)}
    mean_square = 30.0**2 / 2 * (0.08 + 0.92 * 0.01)
    energy_out = sum(mean_square / ohm for ohm in hot.values())
    energy_in = 0.1 * 14.0 * 25.0 + 0.9 * 14.4 * 5.0
    assert named(figures, "efficiency").value == pytest.approx(energy_out / energy_in, rel=2e-3)
    assert named(figures, "supply_current").value == pytest.approx(0.1 * 25 + 0.9 * 5, rel=1e-3)
    assert named(figures, "supply_current_peak").value == pytest.approx(25.0, rel=1e-3)
    sag = named(figures, "supply_voltage_sag")
    assert sag.value == pytest.approx(0.4, abs=0.01)
    assert sag.expanded_uncertainty is not None
    assert sag.expanded_uncertainty < 0.02  # the probe's own error is the same for both ends


def test_without_a_supply_record_there_is_no_efficiency_and_none_is_guessed(burst_record: Record) -> None:
    names = {figure.name for figure in burst({"full": burst_record(channels=("A", "B"))}, {}, BURST)}
    assert not names & {"efficiency", "supply_current", "supply_voltage"}
    assert "burst_power_first" in names


def test_without_the_record_of_a_loaded_channel_there_is_no_efficiency(
    burst_record: Record, supply: dict[str, Trace]
) -> None:
    names = {figure.name for figure in burst({"full": burst_record(extra=supply)}, {}, BURST)}
    assert "efficiency" not in names


def test_clipping_of_the_later_cycles_shows_in_the_worst_but_not_in_the_first(burst_record: Record) -> None:
    def falling_rail(volts: np.ndarray) -> np.ndarray:
        rail = 31.0 - 2000.0 * np.maximum(np.arange(volts.size) * 1e-6 - 0.005, 0.0).clip(max=0.008)
        return np.clip(volts, -rail, rail)

    record = burst_record(shape=falling_rail, channels=("A", "B"))
    worst, first = worst_cycles(record, BURST)["A"].distortion, first_cycles(record, BURST)["A"].distortion
    assert worst.ratio > 0.05
    assert first.ratio < 0.01
    clean = burst({"clean": record}, {}, BURST)
    assert named(clean, "thd_n", "A").value == pytest.approx(worst.ratio, rel=1e-3)


def test_an_amplifier_with_one_dead_channel_is_named_not_measured(burst_record: Record, digitised: Digitised) -> None:
    record = burst_record(extra={"output B": digitised(np.zeros(100_000), 72.0)})
    with pytest.raises(SilentRecord):
        burst({"clean": record}, {}, BURST)


def test_a_supply_record_that_clipped_is_no_peak(
    burst_record: Record, supply: dict[str, Trace], digitised: Digitised
) -> None:
    clipped = {**supply, "supply current": digitised(np.full(100_000, 41.0), 80.0, unit="A")}
    with pytest.raises(ClippedRecord, match="supply current"):
        burst({"full": burst_record(channels=("A", "B"), extra=clipped)}, {}, BURST)


def test_a_burst_without_captures_is_refused() -> None:
    with pytest.raises(MeasurementError):
        burst({}, {"heatsink": [40.0]}, BURST)


# --- continuous


def test_a_steady_tone_gives_power_voltages_distortion_and_draw(tone_record: Record, supply: dict[str, Trace]) -> None:
    record = tone_record(channels=("A", "B"), extra=supply, shape=lambda volts: np.clip(volts, -29.0, 29.0))
    figures = continuous({"continuous": record}, {"heatsink": [60.0]}, TONE)
    assert named(figures, "output_peak", "A").value == pytest.approx(29.0, rel=1e-3)
    rms, power = named(figures, "output_rms", "A").value, named(figures, "continuous_power", "A").value
    assert power == pytest.approx(rms**2 / (4.013 * (1 + 60e-6 * 25)), rel=1e-6)
    assert named(figures, "crest_factor", "A").value == pytest.approx(29.0 / rms, rel=1e-3)
    assert 0.01 < named(figures, "thd", "A").value < named(figures, "thd_n", "A").value * 1.01
    assert named(figures, "thd_n", "A").value == pytest.approx(
        steady_tones(record, TONE)["A"].distortion.ratio, rel=1e-3
    )
    assert named(figures, "heatsink_temperature").value == 60.0
    assert named(figures, "supply_current").capture == "tone.npz"


def with_carrier(
    tone_v: np.ndarray, instants_s: np.ndarray, limit_v: float, carrier_hz: float, phase: float
) -> np.ndarray:
    """Clipped, and a residue of 250 mV on it."""
    return np.clip(tone_v, -limit_v, limit_v) + 0.35 * np.sin(2 * math.pi * carrier_hz * instants_s + phase)


@pytest.mark.parametrize("limit_v", [29.0, 60.0])  # clipped, with a hundred tops of the carrier, and not, with a few
def test_the_crest_factor_of_a_tone_with_a_carrier_on_it_is_as_sure_as_it_says(
    tone_record: Record, limit_v: float
) -> None:
    """Sampled four to nine times a cycle of the carrier: the highest sample lies below the highest top."""
    chance, covered = np.random.default_rng(5), []
    sampled_s, fine_s = np.arange(10_000) / 500e3, np.arange(200_000) / 200e6
    for _ in range(20):
        carrier = {"carrier_hz": 1000.0 * chance.integers(56, 125), "phase": chance.uniform(0.0, 2 * math.pi)}
        shape = partial(with_carrier, instants_s=sampled_s, limit_v=limit_v, **carrier)
        record = tone_record(sample_rate=500e3, duration_s=0.02, noise_v=0.015, shape=shape)
        crest = named(continuous({"continuous": record}, {}, TONE), "crest_factor", "A")
        true_v = with_carrier(30.0 * np.sin(2 * math.pi * 1000.0 * fine_s), fine_s, limit_v, **carrier)
        true = np.ptp(true_v) / 2.0 / math.sqrt(np.mean(true_v**2))
        covered.append(abs(crest.value - true) <= crest.expanded_uncertainty)
    assert np.mean(covered) >= 0.9


def test_the_read_back_gives_the_supply_current_where_it_is_surer(
    tone_record: Record, supply: dict[str, Trace]
) -> None:
    record = tone_record(channels=("A", "B"), extra=supply)
    figures = continuous({"continuous": record}, {"supply_current": [7.0, 7.0]}, TONE)
    current = named(figures, "supply_current")
    assert (current.value, current.capture) == (7.0, "")
    half_a_step = 0.05 / 2  # the largest step within its error of which 7.0 A is a whole multiple
    expected = reach(0.003 * 7.0, 0.06, half_a_step)
    assert current.expanded_uncertainty == pytest.approx(expected, rel=0.01)


def test_the_peak_current_stands_above_the_mean_whichever_instrument_gives_that(
    tone_record: Record, supply: dict[str, Trace]
) -> None:
    """The record's mean is 0.1 * 25 + 0.9 * 5 = 7 A and its peak 25 A; the supply reads 30 A, as beside a clamp that
    shows too little. The rise of 18 A has the clamp's error, the mean the supply's."""
    record = tone_record(channels=("A", "B"), extra=supply)
    figures = continuous({"continuous": record}, {"supply_current": [30.0, 30.0]}, TONE)
    peak = named(figures, "supply_current_peak")
    assert peak.value == pytest.approx(30.0 + 18.0, rel=2e-3)
    assert peak.capture == "tone.npz"


def test_the_voltage_is_that_at_the_amplifiers_terminals_however_sure_the_read_back_at_the_supply(
    tone_record: Record, supply: dict[str, Trace]
) -> None:
    record = tone_record(channels=("A", "B"), extra=supply)
    figures = continuous({"continuous": record}, {"supply_current": [7.0, 7.0], "supply_voltage": [14.5]}, TONE)
    assert named(figures, "supply_voltage").value == pytest.approx(14.36, rel=1e-3)
    # Voltage and current move against each other: mean(v i) - mean(v) mean(i) comes from the capture.
    power_w = 14.36 * 7.0 + 0.1 * 14.0 * 25.0 + 0.9 * 14.4 * 5.0 - 14.36 * 7.0
    total = named(figures, "continuous_power", "total").value
    assert named(figures, "efficiency").value == pytest.approx(total / power_w, rel=1e-3)


def test_the_read_back_serves_alone_where_nothing_was_captured(tone_record: Record) -> None:
    readings = {"supply_current": [20.0], "supply_voltage": [14.4]}
    figures = continuous({"continuous": tone_record(channels=("A", "B"))}, readings, TONE)
    assert named(figures, "supply_current").value == 20.0
    total = named(figures, "continuous_power", "total").value
    assert named(figures, "efficiency").value == pytest.approx(total / 288.0)


def test_a_tone_too_high_for_harmonics_in_the_band_has_thd_n_but_no_thd(tone_record: Record) -> None:
    record = tone_record(channels=("A", "B"), frequency_hz=15_000.0, noise_v=0.05)
    names = {figure.name for figure in continuous({"continuous": record}, {}, replace(TONE, frequency_hz=15_000.0))}
    assert "thd_n" in names
    assert "thd" not in names


def test_distortion_too_near_the_floor_is_a_bound_without_an_uncertainty(tone_record: Record) -> None:
    figures = continuous({"continuous": tone_record(channels=("A", "B"), bits=8)}, {}, TONE)
    figure = named(figures, "thd_n", "A")
    assert (figure.bound, figure.expanded_uncertainty) == ("at most", None)


def test_no_capture_no_figures() -> None:
    with pytest.raises(MeasurementError):
        continuous({}, {}, TONE)


# --- idle


def test_idle_reads_current_voltage_power_offset_and_temperature(digitised: Digitised) -> None:
    offsets = {
        "output A": digitised(np.full(1000, 0.006), 2.0, bits=16),
        "output B": digitised(np.full(1000, -0.009), 2.0, bits=16),
    }
    record = Capture("idle.npz", 0.0, 1e-5, offsets, 0.0)
    readings = {"supply_current": [1.6, 1.62], "supply_voltage": [14.4, 14.4], "heatsink": [25.0]}
    figures = idle({"idle": record}, readings, IDLE)
    assert named(figures, "idle_current").value == pytest.approx(1.61)
    assert named(figures, "idle_power").value == pytest.approx(1.61 * 14.4)
    assert named(figures, "dc_offset", "A").value == pytest.approx(0.006, abs=1e-4)
    assert named(figures, "dc_offset", "B").value == pytest.approx(-0.009, abs=1e-4)
    # The range's part of the limit dominates: 0.1 % of 2 V.
    assert named(figures, "dc_offset", "A").expanded_uncertainty == pytest.approx(reach(0.002), rel=0.03)


def test_idle_gives_what_there_is() -> None:
    assert [figure.name for figure in idle({}, {"supply_current": [1.6]}, IDLE)] == ["idle_current"]


# --- for the archive


@pytest.mark.parametrize(("name", "context"), [("idle", IDLE), ("burst", BURST), ("continuous", TONE)])
def test_every_context_is_rebuilt_from_its_json(name: str, context: IdleContext) -> None:
    adapter = TypeAdapter(ANALYSES[name].context)
    assert adapter.validate_json(adapter.dump_json(context)) == context


def test_the_same_captures_give_the_same_figures_to_the_last_bit(
    burst_record: Record, supply: dict[str, Trace]
) -> None:
    captures = {"full": burst_record(channels=("A", "B"), extra=supply, envelope=sagging, noise_v=0.01)}
    adapter = TypeAdapter(BurstContext)
    again = adapter.validate_json(adapter.dump_json(BURST))
    assert ANALYSES["burst"].figures(captures, {}, BURST) == ANALYSES["burst"].figures(captures, {}, again)


def test_every_value_but_a_bound_has_an_uncertainty(burst_record: Record, supply: dict[str, Trace]) -> None:
    record = burst_record(channels=("A", "B"), extra=supply, envelope=sagging, noise_v=0.01)
    figures = burst({"clean": record, "full": record}, {"heatsink": [40.0]}, BURST)
    assert all((figure.expanded_uncertainty or 0.0) > 0.0 for figure in figures if not figure.bound)
