"""SAFETY.md tells the guard's states as the guard has them."""

from __future__ import annotations

import pytest

from benchctl.cli.shown import views
from benchctl.guard import crew, guard, limits, read_back, safe_state, sampler
from benchctl.guard.guardian import guardianship, orders, process
from benchctl.guard.states import TRANSITIONS, GuardEvent, State
from benchctl.instruments.exercise import generator as exercise_generator
from benchctl.instruments.exercise import supply as exercise_supply
from benchctl.runner.engine import power_cycle
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


@pytest.mark.parametrize(
    ("words", "kept", "promised"),
    [
        ("none waits for another by more than 0.1 s", crew.STEP_ASIDE_S, 0.1),
        ("has a second for that", crew.LOOKS * crew.LOOK_EVERY_S, 1.0),
        ("has not confirmed a second after the decision to stop", safe_state.LATE_S, 1.0),
        ("its answers take, two seconds at most", safe_state.MOST_SLOW_S, 2.0),
        ("gives the other parts 0.3 s more", safe_state.GRACE_S, 0.3),
        ("told and asked three times", safe_state.ATTEMPTS, 3),
        ("waits for them for 3.5 s", guard.GUARDIAN_S, 3.5),
        ("no sign of life for 1.5 s", orders.PATIENCE_S, 1.5),
        ("does not answer for 3 s", guardianship.ANSWER_S, 3.0),
        ("It does so five times, no more", guardianship.REPLACEMENTS, 5),
        ("once a second, for five minutes", process.RETRY_PAUSE_S, 1.0),
        ("once a second, for five minutes", process.GIVE_UP_S, 300.0),
        ("Slow answers are waited for up to 10 s", process.LONG_ANSWER_S, 10.0),
        ("not fed for 10 s", limits.WATCHDOG_S, 10.0),
        ("the guard feeds it once a second", sampler.FEEDING_PERIOD_S, 1.0),
        ("has not come for 3 s beyond its period", sampler.STALE_S, 3.0),
        ("taken about five times a second", 1.0 / sampler.SAMPLING_PERIOD_S, 5.0),
        ("temperatures once a second", sampler.TEMPERATURE_PERIOD_S, 1.0),
        ("one setting every 0.75 s", read_back.READ_BACK_PERIOD_S, 0.75),
        ("twice for each step, no more", power_cycle.REPEATS_A_STEP, 2),
        ("a supply at 1 V with a small current limit", exercise_supply.LOW_V, 1.0),
        ("a generator at 10 mV", exercise_generator.ON_AT_V, 0.01),
        ("waits two minutes for an instrument", power_cycle.RETURN_S, 120.0),
        ("taken by nobody for half a second", views.OUTPUT_PATIENCE_S, 0.5),
    ],
)
def test_the_program_keeps_to_the_times_and_numbers_of_the_page(words: str, kept: float, promised: float) -> None:
    assert words in " ".join(text_of("SAFETY.md").split())
    assert kept == pytest.approx(promised)


def test_a_run_waits_for_its_safe_state_as_long_as_that_may_take_and_ends_within_the_ten_seconds_of_the_page() -> None:
    assert "ends, within 10 s of that decision" in " ".join(text_of("SAFETY.md").split())
    told_by_s = safe_state.LATE_S + safe_state.MOST_SLOW_S + safe_state.GRACE_S
    assert told_by_s + guard.GUARDIAN_S < guard.SETTLED_S
    assert guard.LAST_READING_S + guard.SETTLED_S < 10.0
