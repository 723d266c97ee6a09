"""All through a run: does the amplifier do what a fit to an earlier run of this unit lets expect?

After each analysis its figures are held against the amplifier file's `fitted:` part. While the run waits undriven, so
is the supply's current as the guard reads it. A departure is told once for each cause; it ends nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from benchctl.archive.journal.events import HELD_AGAINST_FIT
from benchctl.fit.twin.expecting import Twin
from benchctl.fit.twin.holding import Analysed, Held, held
from benchctl.measure.agreement.comparison import Comparison
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.runner.acting.run import Run

FOLLOWS_FROM = {
    "droop": ("gain",),
    "burst_power_clean": ("gain", "droop"),
    "continuous_power": ("gain", "burst_power_clean"),
    "supply_current": ("gain", "idle_current", "continuous_power"),
    "efficiency": ("gain", "idle_current", "continuous_power", "supply_current"),
}
"""What moves a figure too, so that the figure is not told again as a cause of its own."""


@dataclass
class TwinWatch:
    """What of this part of the run was told already: names of figures, those of gain with the channel."""

    run: Run
    twin: Twin
    told: list[str] = field(default_factory=list)

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
        departed = [row for row in outcome.rows if not row.agrees]
        told = list(self._new(departed))
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
        run.after_analysis = TwinWatch(run, Twin(amplifier, amplifier.fitted)).analysed
