"""hold, cool and settle: the steps that let time pass."""

from __future__ import annotations

from collections import deque

from benchctl.documents.criteria import Criterion
from benchctl.documents.steps import Cool, Hold, Settle
from benchctl.errors import RequirementFailed
from benchctl.quantity import render
from benchctl.runner.drive import mute
from benchctl.runner.outlook import Forecast, Outlook
from benchctl.runner.run import Run

POLL_S = 1.0


def perform_hold(step: Hold, run: Run) -> None:
    """Leave everything as it is."""
    run.wait(step.for_s)


def perform_cool(step: Cool, run: Run) -> None:
    """Wait, undriven, until the heatsink is cool enough.

    Raises:
        RequirementFailed: it is not within the step's timeout.
    """
    mute(run)
    deadline = run.clock.now() + step.timeout_s
    while not step.heatsink.holds(temperature_c := run.read("heatsink")):
        if run.clock.now() >= deadline:
            raise RequirementFailed(
                f"the heatsink is still at {render(temperature_c, 'degC')} after {render(step.timeout_s / 60, 'min')}; "
                f"{step.heatsink} was asked for"
            )
        run.wait(POLL_S)


def perform_settle(step: Settle, run: Run) -> None:
    """Wait until each signal's readings of the last while lie close enough together.

    Raises:
        RequirementFailed: they do not within the step's timeout.
    """
    asked = {"heatsink": step.heatsink, "supply_current": step.supply_current}
    watched = {signal: criterion for signal, criterion in asked.items() if criterion is not None}
    history: dict[str, deque[float]] = {signal: deque(maxlen=max(2, round(step.per_s / POLL_S))) for signal in watched}
    deadline = run.clock.now() + step.timeout_s
    while True:
        for signal, readings in history.items():
            readings.append(run.read(signal))
        if all(_is_settled(history[signal], criterion) for signal, criterion in watched.items()):
            return
        if run.clock.now() >= deadline:
            raise RequirementFailed(f"{' and '.join(watched)} did not settle within {render(step.timeout_s, 's')}")
        run.wait(POLL_S)


def _is_settled(readings: deque[float], criterion: Criterion) -> bool:
    """Only a full while says that nothing moves."""
    return len(readings) == readings.maxlen and max(readings) - min(readings) <= criterion.bound


def foresee_hold(step: Hold, outlook: Outlook) -> Forecast:
    if outlook.level_v is None:
        return Forecast(duration_s=step.for_s)
    return Forecast(duration_s=step.for_s, **outlook.tone(outlook.level_v, for_s=step.for_s))


def foresee_cool(step: Cool, outlook: Outlook) -> Forecast:
    """How long depends on how warm it is by then, which nobody knows yet: up to its timeout."""
    outlook.level_v = None
    return Forecast(duration_s=0.0, at_most_s=step.timeout_s)


def foresee_settle(step: Settle, _outlook: Outlook) -> Forecast:
    return Forecast(duration_s=step.per_s, at_most_s=step.timeout_s)
