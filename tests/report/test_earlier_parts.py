"""A page's head shows the worst safe state of all parts of a run, not that of the last."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from benchctl.report.reading.run_record import read_run_record
from benchctl.report.summary import summary_of
from tests.report.conftest import Event, real, rewrite
from tests.report.test_page import page_of

STUCK = {
    "instrument": "supply",
    "part": "output 'main' off",
    "confirmed": False,
    "detail": "no answer in time",
    "by_hand": "open the switch in the supply lead",
}
BOX = "Not safe at the end of an earlier part"


def after(folder: Path, *added: dict[str, Any]) -> Path:
    """The run as its second part: before it one that began and ended with these events."""

    def edit(events: list[Event]) -> list[Event]:
        began, *others = events
        frame = {"number": 0, "time_s": 62.0, "wall": began["wall"]}
        resumed = {"event": "run resumed", "index": 0, "step": "1 power_on"}
        return [began, *(frame | event for event in (*added, resumed)), *others]

    return rewrite(real(folder), edit)


def ended(*parts: dict[str, Any]) -> dict[str, Any]:
    return {"event": "run ended", "reason": "stopped", "exit_code": 5, "safe": not parts, "instruments": list(parts)}


def test_an_earlier_part_that_was_not_safe_is_told_though_the_last_was(folder: Path) -> None:
    page = page_of(after(folder, ended(STUCK)))
    assert BOX in page.text
    assert "Part 1, which ended at 0:01:02: supply: output 'main' off: not confirmed (no answer in time). By hand" in (
        page.text
    )
    assert "every instrument confirmed it" not in page.text
    assert "Safe state not confirmed in every part of the run; see above" in page.text


def test_an_earlier_part_that_was_safe_is_no_matter(folder: Path) -> None:
    page = page_of(after(folder, ended()))
    assert BOX not in page.text
    assert "Safe state every instrument confirmed it" in page.text


def test_a_part_that_was_killed_before_it_could_tell_is_not_known_to_have_been_safe(folder: Path) -> None:
    page = page_of(after(folder))
    assert "Part 1, which ended at 0:00:00: the journal does not tell whether the bench was safe." in page.text


@pytest.mark.parametrize(("did", "is_safe"), [("safe", True), ("unsafe", False)])
def test_what_the_guardian_found_after_a_kill_counts(folder: Path, did: str, is_safe: bool) -> None:
    acted = {"event": "guardian acted", "line": 1, "did": did, "instruments": [] if is_safe else [STUCK]}
    page = page_of(after(folder, acted))
    assert (BOX in page.text) is not is_safe
    assert ("The guardian could not make the bench safe either." in page.text) is not is_safe


def test_programs_are_told_too(folder: Path) -> None:
    (told,) = summary_of(read_run_record(after(folder, ended(STUCK))))["not_safe_after_earlier_parts"]
    assert told.startswith("Part 1, which ended at 0:01:02: supply: output 'main' off")


def test_a_protection_of_the_supply_is_named_at_the_head(folder: Path) -> None:
    def edit(events: list[Event]) -> list[Event]:
        *others, last = events
        tripped = {"event": "supply protection tripped", "outputs": ["main"]}
        return [*others, {**last, **tripped}, {**last, "reason": "stopped by Ctrl-C", "exit_code": 6}]

    page = page_of(rewrite(real(folder), edit))
    assert "The supply's own protection (over-voltage or over-current) has switched its output 'main' off." in page.text
