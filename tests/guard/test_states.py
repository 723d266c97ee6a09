"""The guard's table of states: every state with every event."""

from __future__ import annotations

import itertools

import pytest

from benchctl.guard.states import TRANSITIONS, GuardEvent, IllegalEventError, State, after

PROMISED = {
    ("armed", "start"): "watching",
    ("armed", "stop"): "tripping",
    ("armed", "trip"): "tripping",
    ("watching", "stop"): "tripping",
    ("watching", "trip"): "tripping",
    ("tripping", "confirmed"): "safe",
    ("tripping", "unconfirmed"): "unsafe",
    ("unsafe", "confirmed"): "safe",
    ("unsafe", "unconfirmed"): "unsafe",
}


@pytest.mark.parametrize(("state", "event"), list(itertools.product(State, GuardEvent)))
def test_every_state_answers_every_event_as_promised_or_refuses_it(state: State, event: GuardEvent) -> None:
    wanted = PROMISED.get((state.value, event.value))
    if wanted is None:
        with pytest.raises(IllegalEventError, match=f"the guard is {state}: '{event}' cannot happen"):
            after(state, event)
    else:
        assert after(state, event) is State(wanted)


def test_the_promises_are_the_whole_table() -> None:
    assert {(str(state), str(event)): str(to) for (state, event), to in TRANSITIONS.items()} == PROMISED


def test_a_safe_bench_cannot_be_made_to_watch_or_trip_again() -> None:
    """There is no way back: a run that was stopped is started again by a person, as a new run."""
    assert not [event for (state, event) in TRANSITIONS if state is State.SAFE]


def test_nothing_leads_back_to_watching() -> None:
    assert [state for (state, _), to in TRANSITIONS.items() if to is State.WATCHING] == [State.ARMED]


@pytest.mark.parametrize("state", [State.ARMED, State.WATCHING])
def test_the_safe_state_is_never_further_than_one_order_and_one_confirmation(state: State) -> None:
    for order in (GuardEvent.STOP, GuardEvent.TRIP):
        assert after(after(state, order), GuardEvent.CONFIRMED) is State.SAFE
