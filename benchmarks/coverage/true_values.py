"""The true value of each figure, from the simulator's physics at the instant of the record, by separate formulas.

Nothing of `benchctl.measure` is used here, so that a mistake there is not repeated here.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

import numpy as np
from scipy.optimize import curve_fit

from benchctl.simulator.hardware.waveforms import Samples
from benchctl.simulator.true_records import TrueRecord

Truths = dict[tuple[str, str], float]
"""Figure name and channel -> true value, in base units."""

BAND_HZ = 20e3
HIGHEST_HARMONIC = 10
FINE = 8192
"""Instants in one cycle: a clipped corner changes the mean square by parts in 1e8."""
STOP_BAND = 1.2
"""Of a class D amplifier's band: nothing is left from here on, and half a cosine lies between."""
# Of a pause between bursts, its end, in which all has come to rest.
PAUSE = 0.25
COARSE = 50_000
"""The most instants in a span, for values that follow the rail, which takes milliseconds."""
PER_CYCLE = 200
"""Instants in a cycle there; eight times as many for what is clipped."""


@dataclass(frozen=True)
class Cycle:
    """One cycle of a channel's output, without noise; of a class D amplifier what lies within the band of the figures,
    as its figures have it, and the RMS of the rest, which is its carrier's."""

    volts: Samples
    residue_v: float = 0.0

    @classmethod
    def within(cls, volts: Samples, orders: float) -> Cycle:
        """Of all that there is, the harmonics up to a multiple of the frequency, and less and less of those above."""
        lines = np.fft.rfft(volts)
        rest = 2.0 * np.abs(lines[math.floor(orders) + 1 :] / volts.size) ** 2
        beyond = np.clip((np.arange(lines.size) / orders - 1.0) / (STOP_BAND - 1.0), 0.0, 1.0)
        lines *= (1.0 + np.cos(math.pi * beyond)) / 2.0
        return cls(np.fft.irfft(lines, volts.size), math.sqrt(float(rest.sum())))

    @property
    def mean_square(self) -> float:
        """V²."""
        return float(np.mean(self.volts**2))

    @property
    def peak_v(self) -> float:
        """The highest absolute value."""
        return float(np.abs(self.volts).max())

    @property
    def half_span_v(self) -> float:
        """Half of peak to peak."""
        return float(np.ptp(self.volts)) / 2.0

    def harmonics(
        self, frequency_hz: float, highest: int | None = None, band_hz: float = BAND_HZ
    ) -> tuple[float, float]:
        """Mean squares of the fundamental and of the harmonics up to the band edge, or to the `highest`."""
        top = math.floor(band_hz / frequency_hz * 1.001)
        lines = np.abs(np.fft.rfft(self.volts)) / FINE
        squares = 2.0 * lines[1 : min(top, highest or top) + 1] ** 2
        return float(squares[0]), float(squares[1:].sum())


def idle_truth(record: TrueRecord, heatsink_c: float) -> Truths:
    """Undriven: the read-backs are those of the supply's own output, and the probe is at the amplifier's terminals."""
    # Far more than of a carrier, whose mean a few instants would miss.
    times_s = record.start_s + (record.end_s - record.start_s) * (np.arange(COARSE) + 0.5) / COARSE
    current_a = float(record.supply_current_a(times_s).mean())
    terminal_v = float(record.terminal_v(times_s).mean())
    voltage_v = terminal_v + record.lead_ohm * current_a
    offsets = {("dc_offset", c): float(record.output_v(c, times_s).mean()) for c in record.channels}
    return {
        ("idle_current", ""): current_a,
        ("supply_voltage", ""): terminal_v,
        ("supply_output_voltage", ""): voltage_v,
        ("idle_power", ""): voltage_v * current_a,
        ("heatsink_temperature", ""): heatsink_c,
        **offsets,
    }


def continuous_truth(
    record: TrueRecord, heatsink_c: float, band_hz: float = BAND_HZ, low_pass_hz: float | None = None
) -> Truths:
    """A steady tone: each of its cycles is like the first. Distortion is that within the band of the figures."""
    period_s = 1.0 / record.frequency_hz
    cycles = {c: _cycle(record, c, record.start_s, period_s, low_pass_hz) for c in record.channels}
    values = _powers(record, "continuous_power", cycles)
    for channel, cycle in cycles.items():
        rms_v = math.sqrt(cycle.mean_square)
        _, thd = cycle.harmonics(record.frequency_hz, HIGHEST_HARMONIC, band_hz)
        fundamental, distortion = cycle.harmonics(record.frequency_hz, band_hz=band_hz)
        values |= {
            ("output_rms", channel): rms_v,
            ("carrier_residue", channel): cycle.residue_v,
            ("output_peak", channel): cycle.peak_v,
            ("crest_factor", channel): cycle.half_span_v / rms_v,
            ("thd_n", channel): math.sqrt(distortion / (fundamental + distortion)),
            ("thd", channel): math.sqrt(thd / fundamental),
        }
    whole = math.floor((record.end_s - record.start_s) / period_s + 1e-6) * period_s
    supply, supply_w = _supply(record, whole)
    output_w = values["continuous_power", "total"]
    return {
        **values,
        **supply,
        ("efficiency", ""): output_w / supply_w,
        ("watts_per_ampere", ""): output_w / supply["supply_current", ""],
        ("heatsink_temperature", ""): heatsink_c,
    }


def above_rest_truth(rest: TrueRecord, driven: TrueRecord) -> Truths:
    """How much lower the mean at the terminals is under the drive, and what the loads get of what it adds."""
    (idle, idle_w), (supply, supply_w) = (_supply(each, each.end_s - each.start_s) for each in (rest, driven))
    period_s = 1.0 / driven.frequency_hz
    cycles = {channel: _cycle(driven, channel, driven.start_s, period_s) for channel in driven.channels}
    output_w = _powers(driven, "continuous_power", cycles)["continuous_power", "total"]
    return {
        ("static_sag", ""): idle["supply_voltage", ""] - supply["supply_voltage", ""],
        ("marginal_efficiency", ""): output_w / (supply_w - idle_w),
    }


def clean_burst_truth(record: TrueRecord, cycles: int, low_pass_hz: float | None = None) -> Truths:
    """At clean drive: the lowest power, the worst distortion."""
    table = _burst(record, cycles, low_pass_hz)
    values = _chosen(record, "burst_power_clean", table, np.argmin)
    for channel, row in table.items():
        squares = [cycle.harmonics(record.frequency_hz) for cycle in row]
        values["thd_n", channel] = max(math.sqrt(rest / (first + rest)) for first, rest in squares)
    return values


def full_burst_truth(
    record: TrueRecord,
    cycles: int,
    every_s: float,
    heatsink_c: float,
    low_pass_hz: float | None = None,
    *,
    fine: TrueRecord | None = None,
) -> Truths:
    """At full drive; `fine`: a record of one burst of the same train, where there is one."""
    table = _burst(fine or record, cycles, low_pass_hz)
    values = _chosen(record, "burst_power_first", table, lambda _: 0)
    values |= _chosen(record, "burst_power_last", table, lambda watts: len(watts) - 1)
    values |= _chosen(record, "burst_power_lowest", table, np.argmin)
    values |= _chosen(record, "burst_power_highest", table, np.argmax)
    for channel, row in table.items():
        values["output_peak", channel] = max(cycle.peak_v for cycle in row)
        values["output_rms", channel] = math.sqrt(float(np.mean([cycle.mean_square for cycle in row])))
        if cycles > 1:
            values["droop", channel] = 1.0 - row[-1].half_span_v / row[0].half_span_v
            values["droop_time_constant", channel] = _time_constant_s(record, row)
    supply, supply_w = _supply(record, every_s)
    output_w = sum(_mean_square(record, c, every_s) * record.load_s(c) for c in record.channels)
    pause_s = PAUSE * (every_s - cycles / record.frequency_hz)
    begins_s = record.start_s + every_s - pause_s
    _, paused_w = _supply(record, pause_s, begins_s)
    quiet_w = sum(_mean_square(record, c, pause_s, begins_s) * record.load_s(c) for c in record.channels)
    return {
        **values,
        **supply,
        ("efficiency", ""): output_w / supply_w,
        ("marginal_efficiency", ""): (output_w - quiet_w) / (supply_w - paused_w),
        ("watts_per_ampere", ""): output_w / supply["supply_current", ""],
        ("heatsink_temperature", ""): heatsink_c,
    }


def _cycle(
    record: TrueRecord, channel: str, start_s: float, period_s: float, low_pass_hz: float | None = None
) -> Cycle:
    volts = record.output_v(channel, start_s + period_s * (np.arange(FINE) + 0.5) / FINE)
    return Cycle(volts) if low_pass_hz is None else Cycle.within(volts, low_pass_hz * period_s * 1.001)


def _burst(record: TrueRecord, cycles: int, low_pass_hz: float | None = None) -> dict[str, list[Cycle]]:
    start_s, period_s = record.loudest_s(), 1.0 / record.frequency_hz
    return {
        channel: [
            _cycle(record, channel, start_s + number * period_s, period_s, low_pass_hz) for number in range(cycles)
        ]
        for channel in record.channels
    }


def _powers(record: TrueRecord, name: str, cycles: Mapping[str, Cycle]) -> Truths:
    watts = {channel: cycle.mean_square * record.load_s(channel) for channel, cycle in cycles.items()}
    return {(name, channel): watts for channel, watts in {**watts, "total": sum(watts.values())}.items()}


def _chosen(
    record: TrueRecord, name: str, table: Mapping[str, list[Cycle]], choose: Callable[[Samples], object]
) -> Truths:
    """The power of the chosen cycle: each channel's own choice, and for the total that by the sum."""
    watts = {c: np.array([cycle.mean_square for cycle in row]) * record.load_s(c) for c, row in table.items()}
    watts["total"] = np.sum(list(watts.values()), axis=0)
    return {(name, channel): float(each[int(choose(each))]) for channel, each in watts.items()}  # type: ignore[call-overload]


def _supply(record: TrueRecord, span_s: float, begins_s: float | None = None) -> tuple[Truths, float]:
    """Figures of the supply at the amplifier's terminals, and its mean power."""
    times_s = _instants(record, span_s, begins_s)
    current_a, terminal_v = record.supply_current_a(times_s), record.terminal_v(times_s)
    figures = {
        "supply_current": current_a.mean(),
        "supply_current_peak": current_a.max(),
        "supply_voltage": terminal_v.mean(),
        "supply_output_voltage": terminal_v.mean() + record.lead_ohm * current_a.mean(),
        "supply_voltage_lowest": terminal_v.min(),
        "supply_voltage_sag": np.ptp(terminal_v),
    }
    return {(name, ""): float(value) for name, value in figures.items()}, float(np.mean(current_a * terminal_v))


def _mean_square(record: TrueRecord, channel: str, span_s: float, begins_s: float | None = None) -> float:
    times_s = _instants(record, span_s, begins_s, finer=8)
    return float(np.mean(record.output_v(channel, times_s) ** 2))


def _instants(record: TrueRecord, span_s: float, begins_s: float | None, finer: int = 1) -> Samples:
    count = finer * min(COARSE, math.ceil(PER_CYCLE * span_s * record.frequency_hz))
    start_s = record.start_s if begins_s is None else begins_s
    instants: Samples = start_s + span_s * (np.arange(count) + 0.5) / count
    return instants


def _time_constant_s(record: TrueRecord, row: Iterable[Cycle]) -> float:
    """The time constant of the exponential through the true peaks."""
    peaks = np.array([cycle.half_span_v for cycle in row])
    times_s = np.arange(peaks.size) / record.frequency_hz

    def fall(t: Samples, end: float, depth: float, tau_s: float) -> Samples:
        return end + depth * np.exp(-t / tau_s)

    start = (peaks[-1], peaks[0] - peaks[-1], times_s[-1])
    (_, _, tau_s), _ = curve_fit(fall, times_s, peaks, p0=start, maxfev=10_000)
    return float(tau_s)
