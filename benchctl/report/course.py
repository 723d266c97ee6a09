"""The steps of a run as its journal tells them: when each began and ended, how it was set, what came of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from benchctl.archive.events import NOTE, STEP_FINISHED, STEP_GIVEN_UP, STEP_STARTED
from benchctl.archive.journal import Event


@dataclass(frozen=True)
class SetTo:
    """What the steps so far have set the bench to; None where nothing is set."""

    supply_v: float | None = None
    level_v: float | None = None


@dataclass(frozen=True)
class StepTaken:
    """One step that was begun; `finished_s` is None where its end is not told.

    `number` is that of the event that began it. `left_out` and `unmeasured` say why it did nothing or gave no figures,
    `given_up` which instruments had lost their power, so that it was begun anew.
    """

    label: str
    number: int
    started_s: float
    settings: Mapping[str, Any]
    set_to: SetTo = field(default_factory=SetTo)
    finished_s: float | None = None
    left_out: str = ""
    unmeasured: str = ""
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
            current = _begun(event, current)
        elif current is not None and event.get("step") == current.label:
            current = _told(current, event)
    if current is not None:
        yield current


def _begun(event: Event, previous: StepTaken | None) -> StepTaken:
    label, settings = str(event.get("step", "")), event.get("settings", {})
    begins_again = previous is not None and previous.label == label  # in a run that was gone on with
    set_to = previous.set_to if previous and begins_again else _set_to(previous, settings)
    return StepTaken(label, int(event["number"]), float(event["time_s"]), settings, set_to)


# These wait, speak or set, and leave the drive as it is.
_LEAVING_THE_DRIVE = frozenset({"set", "hold", "settle", "note", "require"})


def _set_to(previous: StepTaken | None, settings: Mapping[str, Any]) -> SetTo:
    """What the bench is set to while the step with these settings is performed."""
    before = previous.set_to if previous else SetTo()
    if previous and previous.kind not in _LEAVING_THE_DRIVE:
        before = replace(before, level_v=None)
    match settings.get("kind"):
        case "power_on" | "ramp_supply":
            return SetTo(supply_v=settings.get("voltage_v"))
        case "power_off":
            return SetTo()
        case "set":
            kept_v = None if settings.get("load_ohm") else before.level_v  # a load is switched without a signal
            return SetTo(settings.get("supply_v") or before.supply_v, settings.get("level_v") or kept_v)
        case _:
            return before


def _told(step: StepTaken, event: Event) -> StepTaken:
    if event["event"] == STEP_FINISHED:
        return replace(step, finished_s=float(event["time_s"]), left_out=str(event.get("left_out", "")))
    if event["event"] == STEP_GIVEN_UP:
        return replace(step, finished_s=float(event["time_s"]), given_up=" and ".join(event.get("lost_power", ())))
    if event["event"] == NOTE:
        _, gave_none, reason = str(event.get("text", "")).partition(f"{step.label} gives no figures: ")
        return replace(step, unmeasured=reason) if gave_none else step
    return step
