"""All through a run: does the amplifier do what a fit to an earlier run of this unit lets expect?

After each analysis its figures are held against the amplifier file's `fitted:` part. While the run waits, undriven or
under a tone, so is the supply's current as the guard reads it. A departure is told once for each cause, and ends
nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from benchctl.archive.journal.events import HELD_AGAINST_FIT
from benchctl.fit.prediction.asked import Predicted
from benchctl.fit.twin.expecting import Refused, Twin
from benchctl.fit.twin.holding import Analysed, Held, HeldRows, held
from benchctl.fit.twin.surroundings import surroundings_of
from benchctl.measure.agreement.comparison import Comparison
from benchctl.measure.analyses.context import ContinuousContext
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.measure.uncertainty import COVERAGE_FACTOR
from benchctl.runner.acting.contexts import load_resistances, reading_accuracies
from benchctl.runner.acting.run import Run

FOLLOWS_FROM = {
    "droop": ("gain",),
    "burst_power_clean": ("gain", "droop"),
    "continuous_power": ("gain", "burst_power_clean"),
    "supply_current": ("gain", "idle_current", "continuous_power"),
    "supply_voltage": ("gain", "idle_current", "continuous_power", "supply_current"),
    "efficiency": ("gain", "idle_current", "continuous_power", "supply_current"),
}
"""What moves a figure too, so that the figure is not told again as a cause of its own."""


STEADY_S = 10.0
"""After so long without a change, a supply that averages for two seconds and a guard that reads it every four show what
there is (common practice)."""

AGAIN_S = 5.0
"""A reading departs if another one, so much later, does too."""


@dataclass
class TwinWatch:
    """`told`: the causes that were told in this part of the run: names of figures, those of gain with the channel.
    `since_s`, `steady`: since when the bench is set as it is. `departed_s`: when a reading was first seen to depart."""

    run: Run
    twin: Twin
    told: list[str] = field(default_factory=list)
    steady: Conditions | None = None
    since_s: float = 0.0
    departed_s: float | None = None
    expected: Predicted | None = None

    def analysed(
        self,
        analysis: str,
        context: Any,
        conditions: Conditions,
        figures: Sequence[Figure],
        comparisons: Sequence[Comparison],
    ) -> None:
        """Hold an analysis against the twin, journal what came of it, and tell what departs."""
        run = self.run
        read_v = run.guard.readings.get("supply_voltage")
        found = Analysed(analysis, context, conditions, figures, comparisons, read_v)
        outcome = held(self.twin, found, with_gains=not _controls_were_turned(run))
        if not outcome.rows and not outcome.not_predicted:
            return
        self._keep(conditions, outcome)

    def look(self) -> None:
        """Hold the supply's last reading against what the twin lets expect, if nothing has changed for a while."""
        run, now_s = self.run, self.run.clock.now()
        read_a = run.guard.readings.get("supply_current")
        if run.conditions != self.steady or run.burst is not None or not run.guard.energised:
            self.steady, self.since_s, self.departed_s, self.expected = run.conditions, now_s, None, None
            return
        if now_s < self.since_s + STEADY_S or read_a is None or not math.isfinite(read_a):
            return
        self.expected = self.expected or self._expected()
        if self.expected is None:
            return
        row = Held(self._as_figure(self.expected, read_a), self.expected)
        if row.agrees or self._follows(_cause(row)):
            self.departed_s = None
        elif self.departed_s is None:
            self.departed_s = now_s
        elif now_s >= self.departed_s + AGAIN_S:
            self._keep(run.conditions, HeldRows((row,)))

    def _expected(self) -> Predicted | None:
        """The supply's current as the bench is set now; None where the twin does not carry that."""
        run, conditions = self.run, self.run.conditions
        context = self._context()
        read_v = run.guard.readings.get("supply_voltage")
        at = surroundings_of(conditions, context, read_v, sees_terminals=False)
        if at is None or conditions.bursts:
            return None
        if conditions.drive == "undriven":
            found = self.twin.idle(at)
        elif conditions.level_v is not None and not _controls_were_turned(run):
            found = self.twin.tone_at(replace(at, thd_limit=None), conditions.level_v)
        else:
            return None
        return None if isinstance(found, Refused) else found[0]

    def _context(self) -> ContinuousContext:
        run, conditions = self.run, self.run.conditions
        load_c, load_ohm = run.guard.readings.get("load"), conditions.load_ohm
        loads = {} if load_ohm is None else load_resistances(run.files.bench, run.fed, load_ohm, load_c)
        return ContinuousContext(frequency_hz=conditions.frequency_hz or 0.0, loads=loads, **run.accuracies())

    def _as_figure(self, expected: Predicted, read_a: float) -> Figure:
        accuracies = reading_accuracies(self.run.files.bench).get("supply_current", ())
        limits = [each.limit(read_a) for each in accuracies] + [each.resolution / 2.0 for each in accuracies]
        expanded = COVERAGE_FACTOR * math.hypot(*limits) / math.sqrt(3.0)
        return Figure(expected.name, read_a, "A", expanded, COVERAGE_FACTOR)

    def _keep(self, conditions: Conditions, outcome: HeldRows) -> None:
        """In the journal, and what is new told."""
        run = self.run
        told = self._new([row for row in outcome.rows if not row.agrees])
        run.recorder.event(
            HELD_AGAINST_FIT,
            step=run.planned.label,
            conditions=asdict(conditions),
            rows=[_as_json(row) for row in outcome.rows],
            not_predicted=list(outcome.not_predicted),
            told=told,
        )
        for text in told:
            run.note(text)

    def _new(self, departed: Sequence[Held]) -> list[str]:
        """A sentence for each cause that is new, of the figure that is furthest off; the surest first."""
        worst: dict[str, Held] = {}
        for row in departed:
            cause = _cause(row)
            if cause not in worst or _times(row) > _times(worst[cause]):
                worst[cause] = row
        sentences = []
        for cause, row in sorted(worst.items(), key=lambda each: -_times(each[1])):
            if not self._follows(cause):
                sentences.append(f"not as fitted in run {self.twin.fitted.run}: {row}")
                self.told.append(cause)
        return sentences

    def _follows(self, cause: str) -> bool:
        known = {each.split()[0] for each in self.told}
        return cause in self.told or any(other in known for other in FOLLOWS_FROM.get(cause, ()))


def _cause(row: Held) -> str:
    name = row.measured.name
    return f"{name} {row.measured.channel}" if name == "gain" else name


def _times(row: Held) -> float:
    return abs(row.difference) / row.explained


def _as_json(row: Held) -> dict[str, Any]:
    measured, predicted = row.measured, row.predicted
    return {
        "name": measured.name,
        "channel": measured.channel,
        "cycles": predicted.cycles,
        "unit": measured.unit,
        "measured": measured.value,
        "measured_u": measured.expanded_uncertainty or 0.0,
        "predicted": predicted.value,
        "predicted_u": predicted.expanded_uncertainty,
    }


def _controls_were_turned(run: Run) -> bool:
    """Whether a person set the gains in this run, which are not those of the fitted run then."""
    return any(figure.name == "gain" and figure.frequency_hz is None for figure in run.measured)


def watch_twin(run: Run) -> None:
    """From now on, where the amplifier file has a `fitted:` part."""
    amplifier = run.files.amplifier
    if amplifier.fitted is not None:
        watch = TwinWatch(run, Twin(amplifier, amplifier.fitted, run.files.bench.title))
        run.after_analysis = watch.analysed
        if run.bench.has("supply"):
            run.while_waiting.append(watch.look)
