"""The guard as a table: (state, event) -> state. An event that is not in the table is an error and changes nothing.

`TRIPPED_STATES` have no way back. Software does not start a stopped run again; only a person does, by starting a new
one.
"""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum


class State(StrEnum):
    """Where the guard stands."""

    ARMED = "armed"  # limits are known, nothing is watched yet
    WATCHING = "watching"  # readings are taken and judged
    TRIPPING = "tripping"  # the safe state is on its way to the instruments
    SAFE = "safe"  # every instrument confirmed it
    UNSAFE = "unsafe"  # at least one could not confirm: a person must look


class GuardEvent(StrEnum):
    """What can happen to it."""

    START = "start"  # the run begins
    STOP = "stop"  # the run has reached its end, or is given up for a reason of its own
    TRIP = "trip"  # a limit is passed or cannot be read
    CONFIRMED = "confirmed"  # every instrument confirms the safe state
    UNCONFIRMED = "unconfirmed"  # at least one does not


TRANSITIONS: Mapping[tuple[State, GuardEvent], State] = {
    (State.ARMED, GuardEvent.START): State.WATCHING,
    (State.ARMED, GuardEvent.STOP): State.TRIPPING,
    (State.ARMED, GuardEvent.TRIP): State.TRIPPING,
    (State.WATCHING, GuardEvent.STOP): State.TRIPPING,
    (State.WATCHING, GuardEvent.TRIP): State.TRIPPING,
    (State.TRIPPING, GuardEvent.CONFIRMED): State.SAFE,
    (State.TRIPPING, GuardEvent.UNCONFIRMED): State.UNSAFE,
    # A late confirmation is good news; a safe bench stays safe whatever else is reported.
    (State.UNSAFE, GuardEvent.CONFIRMED): State.SAFE,
    (State.UNSAFE, GuardEvent.UNCONFIRMED): State.UNSAFE,
}


class IllegalEventError(RuntimeError):
    """An event that the state does not allow: an error in the program."""


def after(state: State, event: GuardEvent) -> State:
    """The state that follows `state` upon `event`."""
    try:
        return TRANSITIONS[state, event]
    except KeyError:
        raise IllegalEventError(f"the guard is {state}: '{event}' cannot happen") from None
