"""ramp_supply: the first power-up after a repair. The voltage rises in steps under a low current limit, and each step
looks for a reason to stop."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import partial

import numpy as np

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.sequence_file.bench_steps import RampSupply
from benchctl.errors import RequirementFailed
from benchctl.measure.analyses.ramp_figures import RampContext
from benchctl.measure.signal.record import Capture
from benchctl.quantity import render
from benchctl.runner.acting.agreement import look_at_idle, worst_case_look_at_idle
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.zeroing import take_zeros, worst_case_zeros
from benchctl.runner.acting.run import Run
from benchctl.runner.acting.waking import PROTECTION_MARGIN, wake, why_asleep
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps.power import overvoltage_level_v, turn_on_delay_s

# Of a step's time: until then the converter charges its reservoir, and the current is not yet the amplifier's own.
SETTLING_PART = 0.5
READINGS_APART_S = 0.25
# A converter that tries again and again rests for a second or two between attempts (common practice); an even current
# for longer is a start.
STARTED_FOR_S = 4.0
EVEN_A = 0.05
EVEN_PART = 0.05
# Over which both readings that are compared are averaged.
READINGS = 3
# A supply that gives less than its setting by more than this is limiting its current.
LIMITING_PART = 0.03


@dataclass
class _Ramp:
    """One ramp: what was read at each step of the voltage, and the last record of the outputs."""

    step: RampSupply
    run: Run
    readings: dict[str, list[float]] = field(
        default_factory=lambda: {"supply_voltage": [], "supply_current_before": [], "supply_current": []}
    )
    outputs: Capture | None = None

    def go(self) -> str:
        """Raise the voltage to the end, or until there is a reason to stop; returns that reason, or nothing."""
        step, run = self.step, self.run
        take_zeros(run)
        supply, main = run.bench.supply, run.bench.main_output
        overvoltage_v = overvoltage_level_v(step, run.files.amplifier)
        supply.protect(main, overvoltage_v, step.current_limit_a * PROTECTION_MARGIN)
        supply.set_voltage(main, step.from_v)
        supply.set_current_limit(main, step.current_limit_a)
        supply.output_on(main)
        is_awake, not_started = False, ""
        for voltage_v in voltages_v(step):
            supply.set_voltage(main, voltage_v)
            run.set_to(supply_set_v=voltage_v)
            if not is_awake and voltage_v >= wake_v(step, run.files.amplifier) - 1e-9:
                is_awake = True
                wake(run)
                not_started = self._wait_for_start(voltage_v)
            run.observer.progress(f"{voltage_v:.3g} V of {step.voltage_v:.3g} V")
            if reason := self._hold(voltage_v) or not_started:
                return f"{render(voltage_v, 'V')}: {reason}"
        return ""

    def _wait_for_start(self, voltage_v: float) -> str:
        """Under a low limit a converter may need many attempts to charge its reservoir: wait until the supply holds its
        voltage and an even current, or until that has taken too long; returns what was seen then, or nothing."""
        seen_a: deque[float] = deque(maxlen=round(STARTED_FOR_S / READINGS_APART_S))
        currents: deque[float] = deque(maxlen=round(STARTED_FOR_S / READINGS_APART_S))
        for _ in range(math.ceil(self.step.start_timeout_s / READINGS_APART_S)):
            self.run.wait(READINGS_APART_S)
            now = self.run.read_supply()
            currents.append(now["supply_current"])
            seen_a.append(now["supply_current"])
            if now["supply_voltage"] < (1.0 - LIMITING_PART) * voltage_v:
                currents.clear()
            elif len(currents) == currents.maxlen and _spread(currents) <= max(EVEN_A, EVEN_PART * currents[-1]):
                return ""
        return (
            f"within {render(self.step.start_timeout_s, 's')} the current did not come to rest: in the last "
            f"{STARTED_FOR_S:g} s it went from {render(min(seen_a), 'A')} to {render(max(seen_a), 'A')} "
            f"under a current limit of {render(self.step.current_limit_a, 'A')}"
        )

    def _hold(self, voltage_v: float) -> str:
        """Stay at a voltage for the step's time and look; the first reason to stop, or nothing."""
        self.run.wait(SETTLING_PART * self.step.dwell_s)
        before_a = self._read("supply_current_before")["supply_current_before"]
        self.run.wait(max((1.0 - SETTLING_PART) * self.step.dwell_s - 2 * READINGS * READINGS_APART_S, 0.0))
        now = self._read("supply_current", "supply_voltage")
        self.outputs = record_taking.take(
            self.run, f"ramp {voltage_v:.3g} V", record_taking.idle_record(), 0.0, record_taking.outputs(self.run)
        )
        reasons = self._reasons(voltage_v, now["supply_voltage"], before_a, now["supply_current"])
        return next(filter(None, reasons), "")

    def _read(self, *names: str) -> dict[str, float]:
        """The means of a few readings each, which are kept one by one."""
        for _ in range(READINGS):
            self.run.wait(READINGS_APART_S)
            now = self.run.read_supply()
            for name in names:
                self.readings[name].append(now[name.removesuffix("_before")])
        return {name: float(np.mean(self.readings[name][-READINGS:])) for name in names}

    def _reasons(self, voltage_v: float, got_v: float, before_a: float, current_a: float) -> Iterator[str]:
        step, run = self.step, self.run
        if got_v < (1.0 - LIMITING_PART) * voltage_v:
            yield (
                f"the supply gives {render(got_v, 'V')} and {render(current_a, 'A')} "
                f"under a current limit of {render(step.current_limit_a, 'A')}"
            )
        if step.supply_current is not None and not step.supply_current.holds(current_a):
            yield f"the current is {render(current_a, 'A')} and must be {step.supply_current}"
        dc = None if self.outputs is None else record_taking.worst_output_dc(run, self.outputs)
        # Some amount of dc nearer to zero is as likely as what was read.
        if dc is not None and not step.dc_offset.holds(dc.surely_v):
            yield f"the dc at output {dc.channel} is {dc} and must be {step.dc_offset}"
        if current_a - before_a > step.rise.bound:
            yield f"the current rose from {render(before_a, 'A')} to {render(current_a, 'A')} at constant voltage"
        if voltage_v >= step.voltage_v - 1e-9:
            yield why_asleep(run, current_a)


def _spread(values: Sequence[float]) -> float:
    return max(values) - min(values)


def perform(step: RampSupply, run: Run) -> None:
    """Raise the voltage, and give the figures of how far it came.

    Raises:
        RequirementFailed: there was a reason to stop; the run ends, and with it the supply is switched off.
    """
    mute(run)
    ramp = _Ramp(step, run)
    reason = ramp.go()
    captures = {} if ramp.outputs is None else {"outputs": ramp.outputs}
    context = RampContext(is_complete=not reason, readings_together=READINGS, **run.accuracies())
    run.analyse("ramp", captures, ramp.readings, context, step.expect)
    _finish(step, run, reason)


def bring_up(step: RampSupply, run: Run) -> None:
    """Raise the voltage as carefully as the first time, for a run that is gone on with; no figures.

    Raises:
        RequirementFailed: as `perform`.
    """
    mute(run)
    _finish(step, run, _Ramp(step, run).go())


def _finish(step: RampSupply, run: Run, reason: str) -> None:
    if reason:
        raise RequirementFailed(f"the first power-up was stopped at {reason}")
    run.guard.energised = True
    run.switch_on_again = partial(bring_up, step)
    look_at_idle(run)


def voltages_v(step: RampSupply) -> list[float]:
    """From the first voltage to the last in equal steps, none larger than asked for."""
    count = step.steps_up
    return [step.from_v + number * (step.voltage_v - step.from_v) / count for number in range(count + 1)]


def wake_v(step: RampSupply, amplifier: Amplifier) -> float:
    """The voltage from which on the remote turn-on lead is live."""
    return min(step.wake_at_v or amplifier.supply.minimum_v, step.voltage_v)


def worst_case(step: RampSupply, state: ExpectedState) -> WorstCase:
    state.supply_v, state.current_limit_a, state.level = step.voltage_v, step.current_limit_a, None
    held_s = max(step.dwell_s, SETTLING_PART * step.dwell_s + 2 * READINGS * READINGS_APART_S)
    # The voltage is set and read back, and the supply is read meanwhile.
    each_s = held_s + record_taking.IDLE_SPAN_S + state.asking_s() + state.pace.supply_s(1.0, 2.0 * READINGS)
    duration_s = len(voltages_v(step)) * each_s + turn_on_delay_s(state.amplifier) + STARTED_FOR_S
    duration_s += worst_case_look_at_idle(state) + worst_case_zeros(state)
    return WorstCase(duration_s=duration_s, at_most_s=duration_s + step.start_timeout_s)
