"""A burst is found by itself, cut into its cycles, and each cycle is read as a technician would read it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from benchctl.errors import BurstNotFound, ClippedRecord, MeasurementError, RecordTooShort, SilentRecord, WrongFrequency
from benchctl.measure.bursts.burst import CycleTable, cycle_table, find_burst
from benchctl.measure.signal.record import Capture

Record = Callable[..., Capture]


def table(record: Capture, frequency_hz: float = 1000.0, cycles: int = 8, low_level_ratio: float = 0.1) -> CycleTable:
    return cycle_table(record, "output A", find_burst(record, "output A", frequency_hz, cycles, low_level_ratio))


# --- finding it


@given(
    frequency_hz=st.sampled_from([50.0, 997.0, 1000.0, 3150.0, 9000.0]),
    cycles=st.sampled_from([1, 2, 8, 20]),
    pretrigger_s=st.sampled_from([0.0, 0.001, 0.0123456]),
    level=st.sampled_from([0.0, 0.01, 0.1, 0.5]),
    sign=st.sampled_from([-30.0, 30.0]),
)
@settings(derandomize=True, max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_burst_is_found_wherever_it_starts(  # noqa: PLR0917  hypothesis names them
    burst_record: Record, frequency_hz: float, cycles: int, pretrigger_s: float, level: float, sign: float
) -> None:
    every_s = pretrigger_s + (cycles + 12) / frequency_hz
    record = burst_record(
        frequency_hz=frequency_hz,
        cycles=cycles,
        pretrigger_s=pretrigger_s,
        every_s=every_s,
        low_level_ratio=level,
        amplitude_v=sign,
    )
    burst = find_burst(record, "output A", frequency_hz, cycles, level)
    assert burst.start_s == pytest.approx(0.0, abs=0.01 / frequency_hz)
    assert burst.frequency_hz == pytest.approx(frequency_hz, rel=1e-3)
    assert burst.stop_s == pytest.approx(cycles / frequency_hz, rel=0.01)


@pytest.mark.parametrize("carrier_hz", [113e3, 352e3])
def test_the_carrier_of_a_class_d_amplifier_hides_no_burst(burst_record: Record, carrier_hz: float) -> None:
    """Residue as large as the burst itself, sampled at 500 kHz and so partly folded back."""
    times_s = np.arange(50_000) / 500e3

    def with_carrier(volts: np.ndarray) -> np.ndarray:
        return np.asarray(volts + 0.4 * np.sin(2 * np.pi * carrier_hz * times_s))

    record = burst_record(sample_rate=500e3, amplitude_v=0.4, full_scale_v=2.0, shape=with_carrier)
    burst = find_burst(record, "output A", 1000.0, 8, 0.1)
    assert burst.start_s == pytest.approx(0.0, abs=2e-5)


def test_an_offset_of_the_probe_hides_no_burst(burst_record: Record) -> None:
    record = burst_record(shape=lambda volts: volts + 3.0)
    assert find_burst(record, "output A", 1000.0, 8, 0.1).start_s == pytest.approx(0.0, abs=1e-6)


def test_a_generator_half_a_per_cent_off_is_followed(burst_record: Record) -> None:
    record = burst_record(frequency_hz=1005.0)
    assert find_burst(record, "output A", 1000.0, 8, 0.1).frequency_hz == pytest.approx(1005.0, rel=1e-5)


@pytest.mark.parametrize("other_hz", [1030.0, 970.0])
def test_another_frequency_is_refused(burst_record: Record, other_hz: float) -> None:
    with pytest.raises(WrongFrequency, match="where 1000 Hz was asked for"):
        find_burst(burst_record(frequency_hz=other_hz), "output A", 1000.0, 8, 0.1)


@pytest.mark.parametrize("told", [4, 7, 9, 20])
def test_a_burst_of_another_length_is_refused(burst_record: Record, told: int) -> None:
    with pytest.raises(BurstNotFound, match=f"{told} were told"):
        find_burst(burst_record(cycles=8), "output A", 1000.0, told, 0.1)


@pytest.mark.parametrize("edges", [(-0.005, 0.006), (0.002, 0.05)])
def test_a_burst_cut_off_by_the_records_edge_is_refused(burst_record: Record, edges: tuple[float, float]) -> None:
    with pytest.raises(BurstNotFound, match="edge cuts the burst off"):
        find_burst(burst_record().window(*edges), "output A", 1000.0, 8, 0.1)


def test_of_two_bursts_of_which_one_is_cut_the_whole_one_is_taken(burst_record: Record) -> None:
    once = burst_record(every_s=0.05, pretrigger_s=0.02).traces["output A"]
    codes = np.concatenate([once.codes[24_000:], once.codes])
    record = Capture("two.npz", 0.0, 1e-6, {"output A": type(once)(codes, once.scale, 0.0, "V", -2048, 2047)}, 0.0)
    assert find_burst(record, "output A", 1000.0, 8, 0.1).start_s == pytest.approx(0.046, abs=1e-6)


def test_a_steady_tone_is_no_burst(tone_record: Record) -> None:
    with pytest.raises(BurstNotFound):
        find_burst(tone_record(), "output A", 1000.0, 8, 0.1)


def test_a_silent_record_is_refused(burst_record: Record) -> None:
    with pytest.raises(SilentRecord):
        find_burst(burst_record(amplitude_v=0.02), "output A", 1000.0, 8, 0.1)


def test_a_record_clipped_by_the_oscilloscope_is_refused(burst_record: Record) -> None:
    with pytest.raises(ClippedRecord):
        find_burst(burst_record(full_scale_v=50.0), "output A", 1000.0, 8, 0.1)


def test_a_record_shorter_than_a_cycle_is_refused(burst_record: Record) -> None:
    with pytest.raises(RecordTooShort):
        find_burst(burst_record().window(0.0, 0.0005), "output A", 1000.0, 1, 0.1)


@given(codes=st.lists(st.integers(-2047, 2046), min_size=64, max_size=400))
@settings(derandomize=True, max_examples=100, deadline=None)
def test_any_codes_at_all_give_a_table_or_a_named_error(codes: list[int]) -> None:
    from benchctl.measure.signal.record import Trace

    trace = Trace(np.array(codes, dtype=np.int16), 0.01, 0.0, "V", -2048, 2047)
    record = Capture("any.npz", 0.0, 2e-5, {"output A": trace}, 0.0)
    try:
        cycles = table(record, 1000.0, 2).cycles
    except MeasurementError:
        return
    assert all(math.isfinite(cycle.rms) and math.isfinite(cycle.thd_n.ratio) for cycle in cycles)


# --- reading it


def test_each_cycle_of_a_clean_burst_reads_alike(burst_record: Record) -> None:
    cycles = table(burst_record(bits=16)).cycles
    assert len(cycles) == 8
    for number, cycle in enumerate(cycles):
        assert cycle.start_s == pytest.approx(number * 1e-3, abs=1e-7)
        assert cycle.rms == pytest.approx(30 / math.sqrt(2), rel=1e-4)
        assert (cycle.highest.value, cycle.lowest.value) == (pytest.approx(30, rel=1e-3), pytest.approx(-30, rel=1e-3))


@pytest.mark.parametrize(("frequency_hz", "sample_rate"), [(997.0, 1e6), (997.0, 96e3), (1003.7, 2e5), (60.0, 1e5)])
def test_cycles_of_broken_length_read_the_same(burst_record: Record, frequency_hz: float, sample_rate: float) -> None:
    record = burst_record(frequency_hz=frequency_hz, sample_rate=sample_rate, every_s=0.2, bits=16)
    for cycle in table(record, frequency_hz).cycles:
        assert cycle.rms == pytest.approx(30 / math.sqrt(2), rel=3e-4)


def test_a_cycle_is_named_by_its_own_distortion(burst_record: Record) -> None:
    def third_in_the_fifth_cycle(time_s: np.ndarray) -> np.ndarray:
        return np.where((time_s > 0.004) & (time_s < 0.005), 1.0 + 0.04 * np.cos(2 * np.pi * 2000.0 * time_s), 1.0)

    # sin x (1 + a cos 2x) = (1 - a/2) sin x + a/2 sin 3x
    cycles = table(burst_record(envelope=third_in_the_fifth_cycle, bits=16)).cycles
    assert cycles[4].thd_n.ratio == pytest.approx(0.02 / 0.98, rel=1e-3)
    assert all(cycle.thd_n.ratio < 1e-4 for number, cycle in enumerate(cycles) if number != 4)


def test_the_table_knows_its_lowest_highest_and_worst_cycle(burst_record: Record) -> None:
    found = table(burst_record(envelope=lambda time_s: 1.0 - 20.0 * np.maximum(time_s, 0.0)))
    assert found.highest is found.cycles[0]
    assert found.lowest is found.cycles[-1]
    assert found.worst.thd_n.ratio == max(cycle.thd_n.ratio for cycle in found.cycles)


def test_a_larger_positive_half_is_the_outermost_peak(burst_record: Record) -> None:
    cycle = table(burst_record(shape=lambda volts: np.clip(volts, -20.0, 30.0))).cycles[3]
    assert cycle.peak.value == pytest.approx(25.0, rel=1e-3)
    assert cycle.outermost.value == pytest.approx(30.0, rel=1e-3)


def test_the_floor_is_the_noise_of_the_rest(burst_record: Record) -> None:
    found = table(burst_record(noise_v=0.2, every_s=0.1))
    # White noise over 500 kHz, of which harmonics 2 to 20 of a cycle take 19 lines of 500.
    expected = math.hypot(0.2, 72 / 4096 / math.sqrt(12)) * math.sqrt(19 / 500)
    assert found.noise_rms == pytest.approx(expected, rel=0.15)
    assert found.cycles[0].thd_n.floor == pytest.approx(expected / (30 / math.sqrt(2)), rel=0.15)


def test_a_rest_that_ends_where_the_next_burst_begins_tells_only_of_noise(burst_record: Record) -> None:
    """Bursts of 8 cycles every 30 ms, in a record that holds the first three of the next burst."""
    trace = burst_record(noise_v=0.2, every_s=0.1).traces["output A"]
    codes = np.concatenate([trace.codes[:35_000], trace.codes[5_000:8_000]])
    record = Capture("burst.npz", -0.005, 1e-6, {"output A": replace(trace, codes=codes)}, 12.0)
    expected = math.hypot(0.2, 72 / 4096 / math.sqrt(12)) * math.sqrt(19 / 500)
    assert table(record).noise_rms == pytest.approx(expected, rel=0.2)


def test_where_little_rest_follows_the_noise_is_that_of_the_rest_before(burst_record: Record) -> None:
    found = table(burst_record(noise_v=0.2, pretrigger_s=0.02, every_s=0.03))
    expected = math.hypot(0.2, 72 / 4096 / math.sqrt(12)) * math.sqrt(19 / 500)
    assert found.noise_rms == pytest.approx(expected, rel=0.2)


def test_the_worst_of_cycles_that_are_alike_is_known_better_than_any_one_of_them(burst_record: Record) -> None:
    """Twelve cycles of 1 % third harmonic and noise. A single cycle would leave the error of its own noise."""

    def bent(volts: np.ndarray) -> np.ndarray:
        return np.asarray(volts - 0.04 * volts * (volts / 30.0) ** 2)

    tables = [table(burst_record(shape=bent, noise_v=noise, bits=16), cycles=8) for noise in (0.02, 0.021, 0.022)]
    for found in tables:
        alone, together = found.worst.thd_n.uncertain(), found.worst_thd_n.uncertain()
        assert together.std_dev < alone.std_dev
        assert abs(together.nominal_value - 0.01 / (1.0 - 0.03)) < 2.0 * together.std_dev


def test_a_noisy_record_gives_only_a_bound(burst_record: Record) -> None:
    assert all(cycle.thd_n.is_bound for cycle in table(burst_record(noise_v=0.2)).cycles)


def test_distortion_of_the_rest_is_no_noise(burst_record: Record) -> None:
    def crossover(volts: np.ndarray) -> np.ndarray:
        return volts - 0.3 * np.tanh(volts / 0.3)

    assert table(burst_record(shape=crossover, bits=16)).noise_rms < 0.001


def test_without_rest_the_steps_of_the_converter_are_the_floor(burst_record: Record) -> None:
    record = burst_record(bits=8).window(-0.005, 0.0085)
    step = 72 / 256
    assert table(record).noise_rms == pytest.approx(step / math.sqrt(12) * math.sqrt(19 / 500), rel=1e-6)
