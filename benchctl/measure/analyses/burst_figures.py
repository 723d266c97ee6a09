"""The figures of a burst, at clean and at full drive."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping

import numpy as np
from uncertainties import UFloat

from benchctl.measure.analyses.context import BurstContext
from benchctl.measure.analyses.supply_figures import (
    ampere_figures,
    efficiency_figures,
    marginal_burst_figures,
    output_power,
    supply_figures,
)
from benchctl.measure.budget.figure import Figure, figure_of
from benchctl.measure.budget.power import by_channel
from benchctl.measure.budget.signals import Signals
from benchctl.measure.bursts.burst import CycleTable, cycle_table, find_burst
from benchctl.measure.bursts.droop import find_droop
from benchctl.measure.carrier.folding import Unfolded, is_fine, unfolded
from benchctl.measure.carrier.low_pass import low_passed
from benchctl.measure.signal.distortion import Distortion
from benchctl.measure.signal.record import OUTPUT, SUPPLY_CURRENT, Capture, Samples
from benchctl.measure.signal.supply import settled_pause, whole_repetitions
from benchctl.measure.uncertainty import exactly

Tables = Mapping[str, CycleTable]
_Choice = Callable[[Samples], int]


def burst_tables(capture: Capture, context: BurstContext) -> dict[str, CycleTable]:
    """Channel -> its cycles, for every channel that has a load and a record; of a class D amplifier without its
    carrier."""
    capture = low_passed(capture, context.low_pass_hz)
    tables = {}
    for channel in Signals(capture, {}, context.loads).channels:
        signal = OUTPUT + channel
        burst = find_burst(
            capture,
            signal,
            context.frequency_hz,
            context.cycles,
            context.low_level_ratio,
            phase_is_free=context.phase_is_free,
        )
        tables[channel] = cycle_table(capture, signal, burst, context.band_hz)
    return tables


def clean_figures(capture: Capture, context: BurstContext, fine: Capture | None = None) -> list[Figure]:
    """burst_power_clean: the lowest whole cycle; thd_n: the worst.

    `fine`: a record of one burst of the same train, which shows a carrier that the whole repetition is too coarse for.
    """
    tables = burst_tables(fine or capture, context)
    powers = _CyclePowers(Signals(fine or capture, context.accuracy, context.loads), tables)
    return [*powers.figures("burst_power_clean", _lowest), *_worst_distortions(tables, capture, context, fine)]


def _worst_distortions(
    tables: Tables, capture: Capture, context: BurstContext, fine: Capture | None
) -> Iterator[Figure]:
    interval_s = (fine or capture).interval_s
    is_sure = context.low_pass_hz is None or is_fine(interval_s)
    checks = burst_tables(capture, context) if fine is not None and not is_sure else {}
    for channel, table in tables.items():
        check = (checks[channel].worst_thd_n, capture.interval_s) if channel in checks else None
        thd_n = table.worst_thd_n
        seen = Unfolded(thd_n) if is_sure else unfolded(thd_n, interval_s, check)
        yield distortion_figure("thd_n", seen.distortion, channel, seen.doubt)


def full_figures(capture: Capture, context: BurstContext, fine: Capture | None = None) -> list[Figure]:
    """burst_power_first, _highest, _lowest, _last; peak, rms and droop at the output; supply draw and efficiency, of
    the whole and of what the burst adds.

    Of bursts that begin anywhere in a cycle, nobody knows the first cycle and the last. `fine`: as of clean drive.
    """
    tables = burst_tables(fine or capture, context)
    signals = Signals(low_passed(capture, context.low_pass_hz), context.accuracy, context.loads)
    powers = _CyclePowers(Signals(fine or capture, context.accuracy, context.loads), tables)
    figures: list[Figure] = []
    for name, choose in _CHOICES.items():
        if context.phase_is_free and name in {"first", "last"}:
            continue
        figures += powers.figures(f"burst_power_{name}", choose)
    for channel, table in tables.items():
        figures += _voltage_figures(Signals(fine or capture, context.accuracy), channel, table)
    span = whole_repetitions(capture, context.every_s)
    output_w = output_power(signals, span)
    current_a = signals.mean(SUPPLY_CURRENT, span) if signals.has(SUPPLY_CURRENT) else None
    figures += supply_figures(signals, span) + efficiency_figures(output_w, signals.supply_power(span))
    figures += ampere_figures(output_w, current_a)
    pause = settled_pause(capture, span, context.frequency_hz, context.cycles, context.every_s)
    return figures if pause is None else figures + marginal_burst_figures(signals, span, pause)


def cycle_powers(capture: Capture, context: BurstContext) -> dict[str, Samples]:
    """Channel -> the power of each cycle in order, W: those among which the figures choose."""
    return _CyclePowers(Signals(capture, context.accuracy, context.loads), burst_tables(capture, context)).watts


class _CyclePowers:
    """The power of each cycle: numbers to choose a cycle by, uncertain only for the cycle chosen."""

    def __init__(self, signals: Signals, tables: Tables) -> None:
        self._signals = signals
        self._tables = tables
        self.watts = {channel: self._nominal(channel, table) for channel, table in tables.items()}

    def figures(self, name: str, choose: _Choice) -> list[Figure]:
        """The chosen cycle's power of each channel, and of all together: there the choice is by the total."""
        of_total = choose(np.sum(list(self.watts.values()), axis=0))
        chosen = by_channel(
            {channel: self._uncertain(channel, of_total) for channel in self._tables},
            is_every_load=self._signals.has_every_load,
        )
        chosen |= {channel: self._uncertain(channel, choose(watts)) for channel, watts in self.watts.items()}
        return [figure_of(name, power, "W", channel) for channel, power in chosen.items()]

    def _nominal(self, channel: str, table: CycleTable) -> Samples:
        one_volt_w = float(self._signals.power(channel, exactly(1.0)).nominal_value)
        return one_volt_w * np.array([cycle.rms for cycle in table.cycles]) ** 2

    def _uncertain(self, channel: str, number: int) -> UFloat:
        table = self._tables[channel]
        cycle = table.cycles[number]
        rms = self._signals.on_rms(OUTPUT + channel, cycle.rms, cycle.mean, _rms_noise(table))
        return self._signals.power(channel, rms)


def _rms_noise(table: CycleTable) -> float:
    """What noise does to the rms of a cycle: no more than if all of it were in line with the fundamental."""
    return table.noise_rms / math.sqrt(2.0)


def _first(_: Samples) -> int:
    return 0


def _last(watts: Samples) -> int:
    return watts.size - 1


def _lowest(watts: Samples) -> int:
    return int(np.argmin(watts))


def _highest(watts: Samples) -> int:
    return int(np.argmax(watts))


_CHOICES: Mapping[str, _Choice] = {"first": _first, "highest": _highest, "lowest": _lowest, "last": _last}


def chosen_cycles(watts: Samples) -> dict[str, int]:
    """Which cycle, counted from 0, each figure at full drive tells of, by the end of its name."""
    return {name: choose(watts) for name, choose in _CHOICES.items()}


def _voltage_figures(signals: Signals, channel: str, table: CycleTable) -> list[Figure]:
    """output_peak (of either sign) and output_rms over the whole burst, droop and its time constant."""
    signal, cycles = OUTPUT + channel, table.cycles
    peak = max((cycle.outermost for cycle in cycles), key=lambda peak: peak.value)
    rms = math.sqrt(sum(cycle.rms**2 for cycle in cycles) / len(cycles))
    mean = sum(cycle.mean for cycle in cycles) / len(cycles)
    rms_noise = _rms_noise(table) / math.sqrt(len(cycles))
    figures = [
        figure_of("output_peak", signals.on(signal, peak.value, peak.uncertainty), "V", channel),
        figure_of("output_rms", signals.on_rms(signal, rms, mean, rms_noise), "V", channel),
    ]
    return figures + (_droop_figures(signals, channel, table) if len(cycles) > 1 else [])


def _droop_figures(signals: Signals, channel: str, table: CycleTable) -> list[Figure]:
    peaks = [cycle.peak for cycle in table.cycles]
    peak_noise = math.sqrt(sum(peak.own**2 for peak in peaks) / len(peaks))  # the tops of all cycles have one shape
    times_s = np.array([cycle.start_s for cycle in table.cycles])
    droop = find_droop(times_s, np.array([peak.value for peak in peaks]), peak_noise)
    last_over_first = signals.ratio(OUTPUT + channel, 1.0 - droop.ratio, peaks[0].value, peaks[-1].value)
    figures = [figure_of("droop", 1.0 - last_over_first, "1", channel)]
    if droop.time_constant_s is not None:
        figures.append(figure_of("droop_time_constant", droop.time_constant_s, "s", channel))
    return figures


def distortion_figure(name: str, distortion: Distortion, channel: str, doubt: str = "") -> Figure:
    """A distortion figure: a bound where the record's own floor is too near, or where there is a doubt."""
    if distortion.is_bound or doubt:
        return Figure(name, distortion.at_most, "1", channel=channel, bound="at most", bound_reason=doubt)
    return figure_of(name, distortion.uncertain(), "1", channel)
