"""The steps of a run as its journal tells them: when each began and ended, how it was set, what came of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from benchctl.archive.journal.entries import conditions_of
from benchctl.archive.journal.events import STEP_FINISHED, STEP_GIVEN_UP, STEP_STARTED
from benchctl.archive.journal.journal import Event
from benchctl.measure.conditions import NOT_ON_RECORD, Conditions


@dataclass(frozen=True)
class StepTaken:
    """One step that was begun; `finished_s` is None where its end is not told.

    `number` is that of the event that began it, `conditions` what the bench was set to then. `left_out` and
    `unmeasured` say why it did nothing or lacks figures, `ended_early` why what it drove did not last its time,
    `given_up` which instruments had lost their power, so that it was started again.
    """

    label: str
    number: int
    started_s: float
    settings: Mapping[str, Any]
    conditions: Conditions = NOT_ON_RECORD
    finished_s: float | None = None
    left_out: str = ""
    unmeasured: str = ""
    ended_early: str = ""
    given_up: str = ""

    @property
    def kind(self) -> str:
        return str(self.settings.get("kind", ""))


def steps_taken(events: Sequence[Event]) -> list[StepTaken]:
    """Every step that was begun, in order; one that a resumed run began again is there twice."""
    return list(_steps(events))


def _steps(events: Sequence[Event]) -> Iterator[StepTaken]:
    current: StepTaken | None = None
    for event in events:
        if event["event"] == STEP_STARTED:
            if current is not None:
                yield current
            current = _begun(event)
        elif current is not None and event.get("step") == current.label:
            current = _told(current, event)
    if current is not None:
        yield current


def _begun(event: Event) -> StepTaken:
    label, settings = str(event.get("step", "")), event.get("settings", {})
    return StepTaken(label, int(event["number"]), float(event["time_s"]), settings, conditions_of(event))


def _told(step: StepTaken, event: Event) -> StepTaken:
    if event["event"] == STEP_FINISHED:
        return replace(
            step,
            finished_s=float(event["time_s"]),
            left_out=str(event.get("left_out", "")),
            unmeasured=str(event.get("no_figures", "")),
            ended_early=str(event.get("ended_early", "")),
        )
    if event["event"] == STEP_GIVEN_UP:
        return replace(step, finished_s=float(event["time_s"]), given_up=" and ".join(event.get("lost_power", ())))
    return step
