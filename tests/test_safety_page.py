"""SAFETY.md tells the guard's states as the guard has them."""

from __future__ import annotations

from benchctl.guard.states import TRANSITIONS, GuardEvent, State
from tests.pages import text_of
from tools.marked import part_of
from tools.state_table import PART, state_table


def part() -> str:
    return part_of(text_of("SAFETY.md"), PART)


def test_the_table_of_states_is_the_one_that_the_guard_runs_on() -> None:
    assert part() == state_table(), "write it anew: make docs"


def test_the_table_on_the_page_holds_every_transition_and_no_other() -> None:
    """Read back from the page by itself, so that the program that writes it is not believed either."""
    header, _, *rows = [line.strip("|").split("|") for line in part().splitlines() if line.startswith("|")]
    events = [GuardEvent(cell.strip()) for cell in header[1:]]
    on_page = {
        (State(row[0].strip()), event): State(cell.strip())
        for row in rows
        for event, cell in zip(events, row[1:], strict=True)
        if cell.strip() != "-"
    }
    assert on_page == dict(TRANSITIONS)


def test_every_state_and_event_is_explained() -> None:
    assert all(f"- *{name}*: " in part() for name in (*State, *GuardEvent))


def test_the_cautions_that_a_technician_looks_for_are_there() -> None:
    page = text_of("SAFETY.md").lower()
    wanted = (
        "local electrical codes",
        "makers' manuals",
        "licensed practice",
        "emergency stop",
        "fuse",
        "60 v dc or 30 v rms",
        "discharge",
        "bridged",
        "earth clip",
        "isolating transformer",
        "unattended",
        "ear protection",
        "kill -9",
        "what it does not guard",
    )
    assert [words for words in wanted if words not in page] == []
