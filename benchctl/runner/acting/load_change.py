"""Changes of the load, always without a signal: by an instrument, or by a person who connects resistors when asked."""

from __future__ import annotations

from benchctl.documents.text.words import outputs_in_words
from benchctl.quantity import render
from benchctl.runner.acting.drive import QUIET_S, RELAY_S, mute
from benchctl.runner.acting.run import Run
from benchctl.runner.acting.terminals import set_supply
from benchctl.runner.acting.waking import put_to_sleep


def begin_with_load(run: Run) -> None:
    """If a person connects the loads, it must be known which are connected when a run begins or goes on."""
    loads = run.files.bench.loads
    if loads is None:
        return
    if loads.connected_ohm is None:
        _ask(run, None)
    else:
        run.hands.load(loads.connected_ohm)
    run.set_to(load_ohm=loads.connected_ohm)


def set_load(run: Run, nominal_ohm: float) -> None:
    """Connect a load, without a signal, so that no contact opens or closes under current."""
    if run.conditions.load_ohm != nominal_ohm:
        _change(run, nominal_ohm)


def take_load_off(run: Run) -> None:
    """Disconnect the loads, without a signal."""
    if run.conditions.load_ohm is not None:
        _change(run, None)


def _change(run: Run, nominal_ohm: float | None) -> None:
    mute(run)
    run.wait(QUIET_S)
    if run.files.bench.loads is not None:
        _by_hand(run, nominal_ohm)
    elif nominal_ohm is None:
        run.bench.load.disconnect()
    else:
        run.bench.load.connect(nominal_ohm)
    run.wait(RELAY_S)
    run.set_to(load_ohm=nominal_ohm)


def _by_hand(run: Run, nominal_ohm: float | None) -> None:
    """Ask the person; the supply is off meanwhile if the amplifier file asks for that."""
    supply_v = run.conditions.supply_set_v
    if supply_v is None or run.files.amplifier.load_change == "silent" or run.switch_on_again is None:
        _ask(run, nominal_ohm)
        return
    put_to_sleep(run)
    _ask(run, nominal_ohm)
    run.switch_on_again(run)
    if run.conditions.supply_set_v != supply_v:
        set_supply(run, supply_v)


def _ask(run: Run, nominal_ohm: float | None) -> None:
    request = f"{_request(run, nominal_ohm)}. {_state(run)}"
    run.observer.hands_needed(request)
    run.hands.load(nominal_ohm)
    run.recorder.hands(request, {})


def _request(run: Run, nominal_ohm: float | None) -> str:
    outputs = outputs_in_words(run.files.amplifier.channels)
    if nominal_ohm is None:
        return f"Take every load off {outputs}"
    each = "" if len(run.files.amplifier.channels) == 1 else "each of "
    return f"Connect {render(nominal_ohm, 'ohm')} to {each}{outputs}, and no other load"


def _state(run: Run) -> str:
    if run.conditions.supply_set_v is not None:
        return "The amplifier is on, without a signal"
    return "The supply is off; let the amplifier's capacitors run empty first"
