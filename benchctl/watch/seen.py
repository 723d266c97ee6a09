"""Keeps what a run tells its observer, and says at any moment what can be seen of the run.

What is told is only kept: a run is never delayed. Whoever watches asks `now` from a thread of their own. That reads
what runner and guard have found; it asks no instrument.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import replace

from benchctl.guard.states import State as GuardState
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.quantity import clock_face, render
from benchctl.runner.acting.desk import OutputReading, Readings
from benchctl.runner.acting.run import LastRecord, Run
from benchctl.runner.checks.preflight import Preflight
from benchctl.runner.plan import PlannedStep
from benchctl.watch.desk_now import set_in_words, warning_in_words
from benchctl.watch.limits_now import limits_now
from benchctl.watch.now import Now, PartNow, ResultNow, State
from benchctl.watch.outputs_now import in_words, outputs_of
from benchctl.watch.results_now import results_in

NOTES_KEPT = 8
# A record that is older than this no longer says what the amplifier does now; after its signal has gone off, sooner.
OLD_RECORD_S, OLD_WITHOUT_SIGNAL_S = 5.0, 2.0
# A search switches the signal on and off several times a second. It counts as on until it has been off for so long: who
# comes near must not be told otherwise, and nothing may flash.
SIGNAL_LASTS_S = 2.0
_OPENING = "The bench is being opened. Nothing is switched on yet."


class Seen:
    """What is seen of one run. `title` and `mark` are of the run as a view words them."""

    def __init__(self) -> None:
        self.run: Run | None = None
        self.checked: Preflight | None = None
        self.changed: Callable[[], None] = lambda: None
        self._title = self._mark = ""
        self._index = -1
        self._planned: PlannedStep | None = None
        self._step_began_s = 0.0
        self._progress = ""
        self._question = ""
        self._notes: deque[str] = deque(maxlen=NOTES_KEPT)
        self._results: dict[str, ResultNow] = {}
        self._desk: Readings | None = None
        self._outputs: tuple[LastRecord | None, dict[str, OutputReading]] = (None, {})
        self._ended: tuple[State, str] | None = None
        self._driven_s: float | None = None  # when a signal was seen last

    # -- what is told --------------------------------------------------------------------------------------------

    def started(self, checked: Preflight, run: Run, title: str, mark: str) -> None:
        """The bench is open; also of each further part of a run."""
        self._title, self._mark = title, mark
        self.checked, self.run = checked, run

    def step_started(self, index: int, planned: PlannedStep, now_s: float) -> None:
        self._index, self._planned, self._progress, self._step_began_s = index, planned, "", now_s

    def figures(self, figures: Sequence[Figure]) -> None:
        self._results = {**self._results, **results_in(figures)}

    def note(self, text: str) -> None:
        self._notes.append(text)

    def progress(self, text: str) -> None:
        self._progress = text

    def asked(self, question: str) -> None:
        """A person is asked for something; an empty text: no longer."""
        self._question = question
        self.changed()

    def shown(self, readings: Readings) -> None:
        """What a person at a desk sees of the amplifier."""
        self._desk = readings

    def news(self, text: str) -> None:
        """Something happened that a person must see at once."""
        self._notes.append(text)
        self.changed()

    def ended(self, state: State, sentence: str) -> None:
        """The run has ended like that; nothing of it changes any more."""
        self._ended = (state, sentence)
        self.changed()

    # -- what is seen --------------------------------------------------------------------------------------------

    def now(self) -> Now:
        """What can be seen now."""
        run, checked = self.run, self.checked
        if run is None or checked is None:
            asking: tuple[State, str] = ("asking", self._question) if self._question else ("opening", _OPENING)
            state, sentence = self._ended or asking
            return Now(state, sentence, is_over=self._ended is not None)
        state, sentence = self._state(run)
        now_s, guard = run.clock.now(), run.guard
        seen = Now(
            state,
            sentence,
            title=self._title,
            mark=self._mark,
            step=self._index + 1,
            steps=len(checked.plan),
            label=_label_in_words(self._planned),
            progress=self._progress,
            elapsed=clock_face(now_s),
            remaining=clock_face(self._remaining_s(checked, now_s)),
            drive=_drive_in_words(run) if state == "driven" else "",
            limits=limits_now(guard.watches, dict(guard.readings), guard, energised=guard.energised),
            results=tuple(result for _, result in sorted(self._results.items())),
            parts=tuple(PartNow(str(part), part.confirmed) for part in guard.parts),
            notes=tuple(self._notes),
        )
        if self._ended is not None or state in {"stopping", "unsafe"}:
            return _of_the_past(replace(seen, is_over=self._ended is not None))
        seen = replace(seen, supply=_supply_in_words(run))
        return self._with_outputs(seen if self._desk is None else self._at_desk(seen, self._desk), run, now_s)

    @staticmethod
    def _at_desk(seen: Now, desk: Readings) -> Now:
        """A person decides how long it takes, and what comes next."""
        warning = warning_in_words(desk) if seen.state in {"on", "driven"} else ""
        return replace(
            seen,
            sentence=seen.sentence or warning,
            step=0,
            steps=0,
            label="",
            remaining="",
            drive=set_in_words(desk) if seen.state in {"off", "on", "driven"} else "",
        )

    def _state(self, run: Run) -> tuple[State, str]:
        if self._ended is not None:
            return self._ended
        reason = run.interlock.reason
        if run.guard.state is GuardState.UNSAFE:
            return "unsafe", f"NOT SAFE: look at what is named here. {reason or ''}".strip()
        if reason is not None:
            return "stopping", str(reason)
        if self._question:
            return "asking", self._question
        is_on = run.guard.energised or run.conditions.supply_set_v is not None
        return ("driven" if is_on and self._has_signal(run) else "on" if is_on else "off"), ""

    def _has_signal(self, run: Run) -> bool:
        """Whether a signal is there, or was a moment ago."""
        now_s, last = run.clock.now(), run.last_record
        if run.conditions.level_v is not None:
            self._driven_s = now_s
        elif last is not None and last.capture.conditions.drive != "undriven":
            self._driven_s = max(self._driven_s or 0.0, last.capture.taken_s)
        return self._driven_s is not None and now_s - self._driven_s <= SIGNAL_LASTS_S

    def _remaining_s(self, checked: Preflight, now_s: float) -> float:
        if self._index < 0:
            return sum(each.duration_s for each in checked.expected_steps)
        step, *later = checked.expected_steps[self._index :]
        left_in_step_s = max(0.0, step.duration_s - (now_s - self._step_began_s))
        return left_in_step_s + sum(each.duration_s for each in later)

    def _with_outputs(self, seen: Now, run: Run, now_s: float) -> Now:
        if self._desk is not None:
            desk = self._desk
            taken_s, outputs, is_present = desk.taken_s, desk.outputs, not desk.is_held
        else:
            taken_s, outputs = self._of_last_record(run)
            is_present = taken_s is not None and _is_present(seen.state, run, now_s - taken_s)
        if taken_s is None or not outputs:
            return seen
        age_s = max(now_s - taken_s, 0.0)
        is_old = not is_present or age_s > OLD_RECORD_S or seen.state not in {"on", "driven"}
        return replace(seen, outputs=in_words(outputs), record_age_s=age_s, outputs_are_old=is_old)

    def _of_last_record(self, run: Run) -> tuple[float | None, dict[str, OutputReading]]:
        """Worked out once for each record."""
        last = run.last_record
        if last is None:
            return None, {}
        if self._outputs[0] is not last:
            self._outputs = (last, outputs_of(run, last))
        return last.capture.taken_s, self._outputs[1]


def _is_present(state: State, run: Run, age_s: float) -> bool:
    """Whether the last record shows what is so now: with a signal, if there is one, at the same outputs, load and
    frequency. Its level may be that of the step of a search before."""
    if run.last_record is None:
        return False
    then, now = run.last_record.capture.conditions, run.conditions
    has_signal = then.drive != "undriven"
    if state != "driven":
        return not has_signal or age_s <= OLD_WITHOUT_SIGNAL_S
    return has_signal and (now.level_v is None or _place(then) == _place(now))


def _place(at: Conditions) -> tuple[object, ...]:
    return at.driven, at.load_ohm, at.frequency_hz


def _of_the_past(seen: Now) -> Now:
    """Of a run that stops or has ended, no reading is of now: nobody takes any more."""
    return replace(seen, limits=(), outputs=(), drive="", remaining="", progress="")


def _label_in_words(planned: PlannedStep | None) -> str:
    """Without its number, which is told beside it."""
    return "" if planned is None else planned.label.partition(" ")[2].replace("_", " ")


# What of the guard's readings everybody wants to see, with its unit.
_SUPPLY = (("supply_voltage", "V"), ("supply_current", "A"), ("heatsink", "degC"))


def _supply_in_words(run: Run) -> tuple[str, ...]:
    """An old reading is told nowhere but beside its limit."""
    guard = run.guard
    read = ((signal, guard.readings.get(signal), unit) for signal, unit in _SUPPLY)
    return tuple(
        render(value, unit, digits=3) for signal, value, unit in read if value is not None and not guard.old_s(signal)
    )


def _drive_in_words(run: Run) -> str:
    bursts = run.burst
    what = "" if bursts is None else f"bursts of {bursts.cycles} cycle{'s' if bursts.cycles > 1 else ''}"
    return ", ".join(filter(None, (what, str(run.conditions.in_effect))))
