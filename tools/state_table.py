"""Write the guard's state table into SAFETY.md, from the table that the guard itself runs on."""

from __future__ import annotations

from benchctl.guard.states import TRANSITIONS, GuardEvent, State
from tools.marked import ROOT, rewrite

PAGE = ROOT / "SAFETY.md"
PART = "state table"

STATES = {
    State.ARMED: "limits are known, nothing is watched yet",
    State.WATCHING: "readings are taken and judged",
    State.TRIPPING: "the safe state is on its way to the instruments",
    State.SAFE: "every instrument confirmed it",
    State.UNSAFE: "at least one could not confirm: a person must look",
}
EVENTS = {
    GuardEvent.START: "the run begins",
    GuardEvent.STOP: "the run has ended, or is given up",
    GuardEvent.TRIP: "a limit is passed or cannot be read",
    GuardEvent.CONFIRMED: "every instrument confirms the safe state",
    GuardEvent.UNCONFIRMED: "at least one does not",
}


def state_table() -> str:
    """A row a state, a column an event; a dash where the event cannot happen."""
    rows = [
        ["state", *(str(event) for event in GuardEvent)],
        ["---"] * (len(GuardEvent) + 1),
        *([str(state), *(str(TRANSITIONS.get((state, event), "-")) for event in GuardEvent)] for state in State),
    ]
    meanings = [f"- *{name}*: {meaning}" for name, meaning in (*STATES.items(), *EVENTS.items())]
    return "".join(f"{line}\n" for line in [*("| " + " | ".join(row) + " |" for row in rows), "", *meanings])


if __name__ == "__main__":
    rewrite(PAGE, PART, state_table())
