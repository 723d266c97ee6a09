"""power_on: supply first, then the remote turn-on lead, then wait for idle. power_off: the reverse."""

from __future__ import annotations

import math
from functools import partial

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench, TurnOnBySupply
from benchctl.documents.bench_file.sight import measures_terminals
from benchctl.documents.sequence_file.bench_steps import PowerOff, PowerOn, RampSupply
from benchctl.errors import InstrumentError
from benchctl.quantity import render
from benchctl.runner.acting.agreement import look_at_idle, worst_case_look_at_idle
from benchctl.runner.acting.contexts import reading_accuracies
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.records.zeroing import take_zeros, worst_case_zeros
from benchctl.runner.acting.run import Run, Trimming
from benchctl.runner.acting.terminals import (
    hold_at_terminals,
    need_sight_of_terminals,
    senses_remotely,
    worst_case_settling,
)
from benchctl.runner.acting.waking import ADVICE, LEAD_OFF_S, PROTECTION_MARGIN, put_to_sleep, wake, why_asleep
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase

# The supply's voltage counts as there when it is within this part of its setting, and what the supply may be off by.
VOLTAGE_THERE = 0.03
VOLTAGE_TIMEOUT_S = 5.0
POLL_S = 0.25
# The least that over-voltage protection lies above the voltage it must not trip at.
ABOVE_SETTING = 1.03
# A supply that is trimmed stays so far below its protection.
BELOW_PROTECTION = 1.01
OPEN_SENSE = (
    "Most likely a sense lead is off or open: a supply that senses remotely then raises its output. Switch it off, and "
    "look at both sense leads, from the supply to the amplifier's terminals."
)
# Idle is there when readings a second apart agree to a twentieth, or to the supply's last digits.
IDLE_RELATIVE = 0.05
IDLE_ABSOLUTE_A = 0.05
IDLE_APART_S = 1.0
# Before and after the zeros, of the voltage, of the idle current until it rests, and beside the first record.
READINGS_AT_START = 6.0


def perform_on(step: PowerOn, run: Run) -> None:
    """Bring the amplifier up.

    Raises:
        InstrumentError: the supply's voltage does not come, the amplifier does not wake or come to rest at idle, or
            instruments contradict each other there, or its terminals do not have the voltage that they should.
    """
    run.trimming = None
    mute(run)
    take_zeros(run)
    _main_on(step, run)
    wake(run)
    idle_a = _wait_for_idle(step, run)
    look_at_idle(run)
    if reason := why_asleep(run, idle_a):
        raise InstrumentError(reason, advice=ADVICE)
    if _holds_at_terminals(step, run.files.bench):
        hold_at_terminals(run, step.voltage_v, _trimming(step, run))
    run.guard.energised = True
    run.switch_on_again = partial(perform_on, step)


def overvoltage_level_v(step: PowerOn | RampSupply, amplifier: Amplifier) -> float:
    """Where over-voltage protection is set: at what the amplifier bears, unless the sequence asks for less: later steps
    may raise the voltage."""
    if isinstance(step, RampSupply):
        return step.voltage_v * PROTECTION_MARGIN
    return step.overvoltage_v or max(amplifier.supply.maximum_v, step.voltage_v * ABOVE_SETTING)


def _holds_at_terminals(step: PowerOn, bench: Bench) -> bool:
    return step.at == "terminals" or (step.at == "terminals or supply" and measures_terminals(bench))


def _trimming(step: PowerOn, run: Run) -> Trimming:
    """Never above what the amplifier bears or the supply gives, nor so near to its protection that this may trip."""
    amplifier, supply = run.files.amplifier, run.files.bench.instruments.supply
    protected_v = overvoltage_level_v(step, amplifier) / BELOW_PROTECTION
    gives_v = math.inf if supply is None else supply.main.voltage_v
    return Trimming(step.trim_v, min(amplifier.supply.maximum_v, protected_v, gives_v))


def _main_on(step: PowerOn, run: Run) -> None:
    supply, main = run.bench.supply, run.bench.main_output
    supply.protect(
        main,
        overvoltage_level_v(step, run.files.amplifier),
        step.overcurrent_a or step.current_limit_a * PROTECTION_MARGIN,
    )
    supply.set_voltage(main, step.voltage_v)
    supply.set_current_limit(main, step.current_limit_a)
    supply.output_on(main)
    run.set_to(supply_set_v=step.voltage_v, supply_at="")
    (accuracy,) = reading_accuracies(run.files.bench)["supply_voltage"]
    there_v = VOLTAGE_THERE * step.voltage_v + 2 * accuracy.limit(step.voltage_v)  # of the setting, and of the reading
    deadline = run.clock.now() + VOLTAGE_TIMEOUT_S
    while abs((reads_v := run.read("supply_voltage")) - step.voltage_v) > there_v:
        if run.clock.now() >= deadline:
            raise _not_there(step.voltage_v, reads_v, run)
        run.wait(POLL_S)


def _not_there(asked_v: float, reads_v: float, run: Run) -> InstrumentError:
    """A supply whose voltage is not what was asked for; one that is too high most likely misses its sense leads."""
    supply = run.bench.supply
    said = f"its output does not reach {asked_v:g} V within {VOLTAGE_TIMEOUT_S:g} s; it reads {render(reads_v, 'V')}"
    advice = "Look for a short, a wrong polarity or a current limit set too low."
    if reads_v > asked_v:
        said = f"its output is set to {asked_v:g} V and reads {render(reads_v, 'V')} after {VOLTAGE_TIMEOUT_S:g} s"
        advice = "Most likely its reading is wrong, or something else feeds the amplifier. Look at the supply leads."
        if senses_remotely(run):
            advice = OPEN_SENSE
    return InstrumentError(said, instrument=supply.name, address=supply.session.address, advice=advice)


def _wait_for_idle(step: PowerOn, run: Run) -> float:
    """Until readings of the supply current agree; returns the last."""
    deadline = run.clock.now() + step.timeout_s
    before = run.read("supply_current")
    while True:
        run.wait(IDLE_APART_S)
        now = run.read("supply_current")
        if abs(now - before) <= max(IDLE_ABSOLUTE_A, IDLE_RELATIVE * abs(now)):
            return now
        if run.clock.now() >= deadline:
            raise InstrumentError(
                f"the amplifier's idle current does not come to rest within {step.timeout_s:g} s "
                f"({before:.2f} A, then {now:.2f} A)",
                advice="Look for oscillation, a bias that runs away, or a protection that comes and goes.",
            )
        before = now


def perform_off(_step: PowerOff, run: Run) -> None:
    """Put the amplifier to sleep, then take its supply and its load away; loads that a person connected stay."""
    mute(run)
    put_to_sleep(run)
    if run.bench.has("load"):
        run.bench.load.disconnect()
        run.set_to(load_ohm=None)


def turn_on_delay_s(amplifier: Amplifier) -> float:
    """From the remote turn-on lead going live until the amplifier plays."""
    return amplifier.remote_turn_on.delay_s if amplifier.remote_turn_on is not None else 0.0


def worst_case_on(step: PowerOn, state: ExpectedState) -> WorstCase:
    state.supply_v = step.voltage_v
    state.current_limit_a = step.current_limit_a
    idle_s = IDLE_APART_S + POLL_S + worst_case_look_at_idle(state) + _asking_supply_s(state)
    state.at_terminals = _holds_at_terminals(step, state.bench)
    if state.at_terminals:
        idle_s += worst_case_settling(state)
        need_sight_of_terminals(state, "'at: terminals'", "leave out 'at'")
    return WorstCase(duration_s=worst_case_zeros(state) + turn_on_delay_s(state.amplifier) + idle_s)


def _asking_supply_s(state: ExpectedState) -> float:
    settings = _switched_outputs(state) * state.pace.switching_questions
    return state.pace.supply_s(settings, READINGS_AT_START)


def _switched_outputs(state: ExpectedState) -> int:
    """The main output, and the one that feeds the turn-on lead, if one does."""
    return 1 + isinstance(state.bench.turn_on_lead_of(state.amplifier), TurnOnBySupply)


def worst_case_off(_step: PowerOff, state: ExpectedState) -> WorstCase:
    state.supply_v = state.level = None
    state.at_terminals = False
    if state.bench.loads is None:
        state.load_ohm = None
    return WorstCase(duration_s=LEAD_OFF_S + state.pace.supply_s(_switched_outputs(state), 0.0))
