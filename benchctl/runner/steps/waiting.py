"""hold, cool and settle: the steps that let time pass, and say how much of it is left."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import replace
from functools import partial

from benchctl.documents.model.criteria import Criterion
from benchctl.documents.sequence_file.bench_steps import Cool, Hold, Settle
from benchctl.errors import RequirementFailed
from benchctl.measure.signal.thermal import Curve
from benchctl.quantity import render
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.heating import KNOWN_AFTER, HeatingTrend, left_in_words
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.stated_time import stated_time_s
from benchctl.runner.expected.worst_case import WorstCase

POLL_S = 1.0
# How often a stated wait says how much of it is left.
PROGRESS_S = 10.0
# What rounding leaves of a time is no wait.
SHORTEST_WAIT_S = 1e-3


def perform_hold(step: Hold, run: Run) -> None:
    """Leave everything as it is."""
    run.wait(step.for_s)


def perform_cool(step: Cool, run: Run) -> None:
    """Wait, undriven, until the heatsink is cool enough.

    Raises:
        RequirementFailed: it is not within the step's timeout, and the run is to end then.
    """
    mute(run)
    if (stated_s := run.stated_time_s(step)) is not None:
        _wait_unwatched(run, stated_s, str(step.heatsink))
        return
    _wait_until_cool(step, run)


def _wait_unwatched(run: Run, stated_s: float, wanted: str) -> None:
    """The stated time, in place of a temperature that nothing watches."""
    waits = f"the step waits {render(stated_s / 60.0, 'min')} instead"
    run.note(f"nothing watches the heatsink, which is to be {wanted}: {waits}")
    ends_s = run.clock.now() + stated_s
    while (left_s := ends_s - run.clock.now()) > SHORTEST_WAIT_S:
        run.observer.progress(left_in_words(left_s))
        run.wait(min(PROGRESS_S, left_s))


def _wait_until_cool(step: Cool, run: Run) -> None:
    cooling = HeatingTrend(run)
    while not step.heatsink.holds(temperature_c := cooling.read()):
        if cooling.elapsed_s >= step.timeout_s:
            text = (
                f"the heatsink is still at {render(temperature_c, 'degC')} after {render(step.timeout_s / 60, 'min')}; "
                f"{step.heatsink} was asked for"
            )
            return _out_of_time(step, run, text)
        cooling.look()
        run.observer.progress(f"{temperature_c:.1f} degC, {_cooling_in_words(step.heatsink, cooling)}")
        run.wait(POLL_S)
    return None


def _cooling_in_words(wanted: Criterion, cooling: HeatingTrend) -> str:
    """How long it takes to be as cool as wanted, or where it will end instead."""
    if cooling.prediction is None:
        return f"to be {wanted}"
    reached_s = cooling.prediction.reaches_s(wanted.bound)
    if reached_s is None:
        return f"{cooling.end_in_words()}, to be {wanted}"
    return f"{left_in_words(cooling.since_s(reached_s))} until {wanted}"


class _Steadiness:
    """The readings of the last while of each signal that is to settle."""

    def __init__(self, step: Settle, run: Run, warming: HeatingTrend) -> None:
        asked = {"heatsink": step.heatsink if warming.is_watched else None, "supply_current": step.supply_current}
        self._bounds = {signal: criterion.bound for signal, criterion in asked.items() if criterion is not None}
        self._reads: dict[str, Callable[[], float]] = {name: partial(run.read, name) for name in self._bounds}
        if warming.is_watched and (step.heatsink is not None or step.predicted_end is not None):
            self._reads["heatsink"] = warming.read
        self._history = {signal: deque[float](maxlen=max(2, round(step.per_s / POLL_S))) for signal in self._reads}

    @property
    def signals(self) -> str:
        """What is looked at, in words."""
        return " and ".join(self._reads)

    def read(self) -> None:
        """One more reading of each signal."""
        for signal, readings in self._history.items():
            readings.append(self._reads[signal]())

    def is_there(self) -> bool:
        """Whether each keeps within its bound; only a full while says that nothing moves."""
        return bool(self._bounds) and all(
            len(readings) == readings.maxlen and max(readings) - min(readings) <= self._bounds[signal]
            for signal, readings in self._history.items()
            if signal in self._bounds
        )


def perform_settle(step: Settle, run: Run) -> None:
    """Wait until each signal's readings of the last while lie close enough together, or until the heatsink's end is
    predicted well enough.

    Raises:
        RequirementFailed: neither is within the step's timeout, and the run is to end then.
    """
    if (stated_s := run.stated_time_s(step)) is not None:
        _wait_unwatched(run, stated_s, "at rest")
        if step.supply_current is None:
            return None
    warming = HeatingTrend(run)
    steadiness = _Steadiness(step, run, warming)
    steadiness.read()
    while not (steadiness.is_there() or _is_predicted(step, warming)):
        if warming.elapsed_s >= step.timeout_s:
            text = f"{steadiness.signals} did not settle within {render(step.timeout_s, 's')}"
            return _out_of_time(step, run, text)
        run.observer.progress(_settling_in_words(step, warming))
        run.wait(POLL_S)
        steadiness.read()
    if step.predicted_end is not None and warming.is_watched:
        run.analyse("warming", {}, warming.readings, warming.context(), {})
    return None


def _is_predicted(step: Settle, warming: HeatingTrend) -> bool:
    if step.predicted_end is None or not warming.look() or warming.prediction is None:
        return False
    # A young curve may look like the end of one; no heatsink is known before the while is over.
    return warming.elapsed_s >= step.per_s and warming.prediction.is_good_to(step.predicted_end.bound)


def _settling_in_words(step: Settle, warming: HeatingTrend) -> str:
    warming.look()
    prediction = warming.prediction
    if prediction is None:
        return ""
    if step.heatsink is None:
        return warming.end_in_words()
    left_s = warming.since_s(prediction.steadies_s(step.heatsink.bound, step.per_s)) + step.per_s
    return f"{warming.end_in_words()}, {left_in_words(left_s)}"


def _out_of_time(step: Cool | Settle, run: Run, text: str) -> None:
    """What the sequence asks for when a wait has taken as long as it may.

    Raises:
        RequirementFailed: the run is to end.
    """
    if step.on_timeout == "end the run":
        raise RequirementFailed(text)
    run.note(text)


def worst_case_hold(step: Hold, state: ExpectedState) -> WorstCase:
    if state.level is None:
        return WorstCase(duration_s=step.for_s)
    return WorstCase(duration_s=step.for_s, **state.tone(state.level, for_s=step.for_s))


def worst_case_cool(step: Cool, state: ExpectedState) -> WorstCase:
    """How long depends on how warm it is by then, which nobody knows yet: up to its timeout."""
    state.level = None
    if (stated_s := stated_time_s(step, state.bench, state.amplifier)) is not None:
        return WorstCase(duration_s=stated_s, stated_s=stated_s)
    likely_s = 0.0
    if not step.heatsink.holds(state.heatsink_c):
        cooling_s = state.warming().reaches_s(step.heatsink.bound)
        likely_s = step.timeout_s if cooling_s is None else min(cooling_s, step.timeout_s)
    return WorstCase(duration_s=0.0, at_most_s=step.timeout_s, likely_s=likely_s)


def worst_case_settle(step: Settle, state: ExpectedState) -> WorstCase:
    """Whatever drives the amplifier goes on doing so."""
    driven = None if state.level is None else state.tone(state.level, for_s=step.timeout_s)
    wait = _settling(step, state, state.warming(driven["draw"] if driven else None))
    return replace(wait, **driven) if driven else wait


def _settling(step: Settle, state: ExpectedState, curve: Curve) -> WorstCase:
    stated_s = stated_time_s(step, state.bench, state.amplifier)
    if stated_s is None:
        likely_s = min(_settled_s(step, curve), step.timeout_s)
        return WorstCase(step.per_s, at_most_s=step.timeout_s, likely_s=likely_s)
    if step.supply_current is None:
        return WorstCase(stated_s, stated_s=stated_s)
    return WorstCase(
        stated_s + step.per_s, stated_s=stated_s, at_most_s=stated_s + step.timeout_s, likely_s=stated_s + step.per_s
    )


def _settled_s(step: Settle, curve: Curve) -> float:
    """Until the heatsink stays as it is, or its end is well enough predicted, whichever comes first."""
    ends_s = []
    if step.heatsink is not None:
        ends_s.append(curve.steadies_s(step.heatsink.bound, step.per_s) + step.per_s)
    if step.predicted_end is not None:
        ends_s.append(max(step.per_s, KNOWN_AFTER * max(curve.time_constants_s)))
    return min(ends_s, default=step.per_s)
