"""Switches the amplifier's turn-on lead, and finds out whether the amplifier woke: if it draws almost nothing, it has a
blown fuse, no turn-on lead, or is dead.
"""

from __future__ import annotations

from benchctl.documents.bench_file.bench import TurnOnByHand, TurnOnByRelay, TurnOnBySupply
from benchctl.errors import InstrumentError
from benchctl.instruments.load import RelayBank
from benchctl.quantity import render
from benchctl.runner.acting.contexts import reading_accuracies
from benchctl.runner.acting.run import Run

# The turn-on lead takes milliamperes; its output is limited to this and trips a little above.
LEAD_CURRENT_A = 0.5
PROTECTION_MARGIN = 1.1
# The amplifier's relay and its output stage come to rest before the supply goes.
LEAD_OFF_S = 0.5

# Of the idle current that the maker expects; standby takes a thousandth of it, and bias drifts by a half at most
# (common practice).
ASLEEP_PART = 0.1
ADVICE = (
    "Look at the amplifier's fuse, the supply leads and the remote turn-on lead, and whether the current limit lets "
    "its converter start. If it rightly draws so little, say so in the amplifier file: `least_idle_current`."
)


def why_asleep(run: Run, current_a: float) -> str:
    """Why the amplifier, which should idle, seems not to, in words; empty if it idles.

    If the supply's own error is too large to tell one from the other, the journal says so.
    """
    amplifier = run.files.amplifier
    expected_a, least_a = amplifier.idle_current_a, amplifier.least_idle_current_a
    if least_a is None:
        if expected_a is None:
            return ""
        (accuracy,) = reading_accuracies(run.files.bench)["supply_current"]
        least_a = max(ASLEEP_PART * expected_a, accuracy.zero_limit())
        if expected_a - accuracy.limit(expected_a) <= least_a:
            run.note(
                f"it is not possible to say whether the amplifier is awake: it should draw {render(expected_a, 'A')}, "
                f"and the supply's reading may be off by {render(accuracy.limit(expected_a), 'A')}"
            )
            return ""
    if current_a >= least_a:
        return ""
    expected = f" of the {render(expected_a, 'A')} that it should" if expected_a is not None else ""
    return f"the amplifier draws {render(current_a, 'A')}{expected}, less than {render(least_a, 'A')}: it did not wake"


def wake(run: Run) -> None:
    """Switch the remote turn-on lead on, and wait until the amplifier is ready; do nothing if it has none."""
    wanted = run.files.amplifier.remote_turn_on
    match run.files.bench.turn_on_lead_of(run.files.amplifier):
        case TurnOnBySupply() as lead:
            supply = run.bench.supply
            supply.protect(lead.output, lead.voltage_v * PROTECTION_MARGIN, LEAD_CURRENT_A * PROTECTION_MARGIN)
            supply.set_voltage(lead.output, lead.voltage_v)
            supply.set_current_limit(lead.output, LEAD_CURRENT_A)
            supply.output_on(lead.output)
        case TurnOnByRelay():
            _bank(run).switch_turn_on_lead(on=True)
        case TurnOnByHand():
            run.observer.hands_needed("Connect the remote turn-on lead")
    if wanted is not None:
        run.wait(wanted.delay_s)


def switch_lead(run: Run, *, on: bool) -> None:
    """Switch what wakes the amplifier, as it was set up before: its turn-on lead or, of one that has none that can be
    switched, its supply."""
    supply = run.bench.supply
    match run.files.bench.turn_on_lead_of(run.files.amplifier):
        case TurnOnBySupply() as lead:
            output = lead.output
        case TurnOnByRelay():
            _bank(run).switch_turn_on_lead(on=on)
            return
        case _:
            output = run.bench.main_output
    if on:
        supply.output_on(output)
    else:
        supply.output_off(output)


def put_to_sleep(run: Run) -> None:
    """The turn-on lead off, then the supply."""
    run.guard.energised = False
    match run.files.bench.turn_on_lead_of(run.files.amplifier):
        case TurnOnBySupply() as lead:
            run.bench.supply.output_off(lead.output)
        case TurnOnByRelay():
            _bank(run).switch_turn_on_lead(on=False)
        case TurnOnByHand():
            run.observer.hands_needed("Disconnect the remote turn-on lead")
    run.wait(LEAD_OFF_S)
    run.bench.supply.output_off(run.bench.main_output)
    run.set_to(supply_set_v=None, supply_at="")


def _bank(run: Run) -> RelayBank:
    load = run.bench.load
    if not isinstance(load, RelayBank):
        raise InstrumentError("the remote turn-on lead is fed by a relay, and the load is no bank of relays")
    return load
