"""find_lowest_supply: lower the supply's voltage under a small tone until the amplifier is silent, then raise it until
it plays again."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from benchctl.documents.sequence_file.supply_steps import FindLowestSupply
from benchctl.measure.analyses.lowest_supply import FELL_SILENT, PLAYED, STILL_SILENT, WOKE, LowestSupplyContext
from benchctl.measure.signal.record import Capture
from benchctl.quantity import render
from benchctl.runner.acting.agreement import before_power, worst_case_look
from benchctl.runner.acting.drive import load_and_frequency, mute, tone
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.protection import GONE, gains_of
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.acting.terminals import READINGS, SUPPLY_SETTLE_S, set_supply, terminal_readings
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps.power import turn_on_delay_s

# Unless the step says where to end: amplifiers play well below the voltage that their files give (common practice).
LOWEST_PART = 0.5
_NEAR_V = 1e-6


@dataclass
class _Search:
    """One way down and one way up again."""

    step: FindLowestSupply
    run: Run
    level_v: float
    frequency_hz: float
    full_gain: float = 0.0
    captures: dict[str, Capture] = field(default_factory=dict)
    readings: dict[str, list[float]] = field(default_factory=dict)

    def perform(self, from_v: float, to_v: float) -> None:
        """Keep the records and readings next to each change."""
        fell_v = self._go_down(from_v, to_v)
        if fell_v is not None:
            self._go_up(fell_v, from_v)

    def _go_down(self, from_v: float, to_v: float) -> float | None:
        """The voltage at which it fell silent; None where it never did."""
        voltage_v = from_v
        while voltage_v >= to_v - _NEAR_V:
            if not self._plays(voltage_v, PLAYED, FELL_SILENT, self.step.dwell_s):
                self._keep(STILL_SILENT, self.captures[FELL_SILENT], FELL_SILENT)
                return voltage_v
            voltage_v -= self.step.step_v
        return None

    def _go_up(self, from_v: float, to_v: float) -> None:
        voltage_v = from_v
        wakes_s = self.step.dwell_s + turn_on_delay_s(self.run.files.amplifier)
        while voltage_v < to_v - _NEAR_V:
            voltage_v = min(voltage_v + self.step.step_v, to_v)
            if self._plays(voltage_v, WOKE, STILL_SILENT, wakes_s):
                return
        self.run.note(
            f"the amplifier stays silent up to {render(to_v, 'V')}; it may play again after a 'power_off' and a "
            "'power_on'"
        )

    def _plays(self, voltage_v: float, playing: str, silent: str, after_s: float) -> bool:
        """Whether every driven output has its gain at a voltage; the record is kept by that."""
        run = self.run
        run.bench.supply.set_voltage(run.bench.main_output, voltage_v)
        run.set_to(supply_set_v=voltage_v, supply_at="")
        run.observer.progress(render(voltage_v, "V"))
        run.wait(after_s)
        signals = [*record_taking.driven_outputs(run), *record_taking.supply_signals(run)]
        record = record_taking.steady_record(self.frequency_hz)
        capture = record_taking.take(run, f"supply {voltage_v:.4g} V", record, self.level_v, signals)
        gain = min(gains_of(capture, self.level_v).values())
        self.full_gain = self.full_gain or gain
        is_playing = gain >= GONE * self.full_gain
        self._read(playing if is_playing else silent, capture)
        return is_playing

    def _read(self, role: str, capture: Capture) -> None:
        read = terminal_readings(self.run)
        read["supply_voltage"] = [self.run.read("supply_voltage") for _ in range(READINGS)]
        self.captures[role] = capture
        self.readings |= {f"{name} {role}": values for name, values in read.items()}

    def _keep(self, role: str, capture: Capture, of: str) -> None:
        """The same record and readings under another name."""
        self.captures[role] = capture
        same = {name.replace(of, role): values for name, values in self.readings.items() if name.endswith(of)}
        self.readings |= same


def perform(step: FindLowestSupply, run: Run) -> None:
    """Down under a small tone, and up again; the bench is left at the voltage that it had.

    Raises:
        MeasurementError: the amplifier does not play where the search begins.
    """
    feed(run, step.driven)
    load_ohm, frequency_hz = load_and_frequency(run)
    level_v = level_in_v(run, step.level, load_ohm)
    before_power(run, level_v)
    from_v = run.conditions.supply_set_v or run.files.amplifier.supply.nominal_v
    search = _Search(step, run, level_v, frequency_hz)
    tone(run, level_v)
    try:
        search.perform(from_v, lowest_v(step, run.files.amplifier.supply.minimum_v))
    finally:
        mute(run)
        set_supply(run, from_v)
    run.analyse("lowest_supply", search.captures, search.readings, LowestSupplyContext(**run.accuracies()), step.expect)


def lowest_v(step: FindLowestSupply, minimum_v: float) -> float:
    """Where the way down ends at the latest."""
    return step.to_v or LOWEST_PART * minimum_v


def worst_case(step: FindLowestSupply, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, step.driven)
    from_v, minimum_v = state.supply_v or state.amplifier.supply.nominal_v, state.amplifier.supply.minimum_v
    to_v = lowest_v(step, minimum_v)
    if to_v >= from_v:
        state.hazard(
            f"the search ends at {render(to_v, 'V')} and begins at {render(from_v, 'V')}; give a lower 'to', or a "
            "higher voltage before this step"
        )
    limit = state.bench.limits.supply_voltage
    if limit is not None and limit.low > to_v:
        state.hazard(
            f"the bench stops a run below {render(limit.low, 'V')}, and this step goes down to {render(to_v, 'V')}; "
            "give a higher 'to'"
        )
    record_s = record_taking.lasts_s(record_taking.steady_record(state.frequency_hz or 1e3), state.bench)
    each_s = step.dwell_s + record_s + record_taking.FETCH_S + state.asking_s(with_supply=True)
    each_s += state.pace.supply_s(1.0, READINGS) + state.pace.ask_s("multimeter", READINGS)
    wakes_s = each_s + turn_on_delay_s(state.amplifier)
    down, likely = (math.ceil(max(from_v - volts, 0.0) / step.step_v) + 1.0 for volts in (to_v, 0.9 * minimum_v))
    begins_s = worst_case_look(state, step.level) + SUPPLY_SETTLE_S
    most_s, likely_s = begins_s + down * (each_s + wakes_s), begins_s + likely * each_s + 4.0 * wakes_s
    power = state.tone(step.level, for_s=most_s)
    state.level = None
    return WorstCase(duration_s=begins_s + each_s, at_most_s=most_s, likely_s=min(likely_s, most_s), **power)
