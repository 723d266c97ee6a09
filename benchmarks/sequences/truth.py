"""The figures and verdicts of a dry run, compared with the true values on the simulated bench."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry, entries_of
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.verdicts import judged_by
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.model.criteria import Criterion
from benchctl.measure.budget.figure import Figure
from benchctl.quantity import render
from benchctl.runner.plan import PlannedStep
from benchctl.simulator.true_records import TrueRecords
from benchmarks.coverage.campaign import truths_of
from benchmarks.coverage.true_values import Truths

# Figures with a known true value; k = 2 leaves about one figure in 20 outside its uncertainty.
_KNOWN = ("idle", "continuous", "burst")


@dataclass(frozen=True)
class Held:
    """How many figures have a known true value and how many miss it, by name; verdicts that the true value
    contradicts."""

    known: Counter[str] = field(default_factory=Counter)
    missed: Counter[str] = field(default_factory=Counter)
    false_verdicts: tuple[str, ...] = ()


def held_against_truth(
    folder: RunFolder, plan: Sequence[PlannedStep], amplifier: Amplifier, true_records: TrueRecords
) -> Held:
    """Compare every figure whose true value is known."""
    steps = {planned.label: planned for planned in plan}
    known: Counter[str] = Counter()
    missed: Counter[str] = Counter()
    false: list[str] = []
    for entry in entries_of(read_journal(folder.journal).events):
        truths = _truths(entry, folder, true_records)
        for figure in entry.figures:
            true_value = truths.get((figure.name, figure.channel))
            if true_value is None:
                continue
            known[figure.name] += 1
            missed[figure.name] += not _is_covered(figure, true_value)
            false += _false_verdict(figure, true_value, entry, _criteria(steps[entry.step], entry, amplifier))
    return Held(known, missed, tuple(false))


def _truths(entry: FiguresEntry, folder: RunFolder, true_records: TrueRecords) -> Truths:
    if entry.analysis not in _KNOWN or not entry.figures:
        return {}
    try:
        return truths_of(entry, folder, true_records)
    except RuntimeError:  # rails that do not droop have no time constant, so there is no true value
        return {}


def _is_covered(figure: Figure, true_value: float) -> bool:
    if figure.bound:
        return true_value >= figure.value if figure.bound == "at least" else true_value <= figure.value
    return abs(true_value - figure.value) <= (figure.expanded_uncertainty or 0.0)


def _criteria(planned: PlannedStep, entry: FiguresEntry, amplifier: Amplifier) -> Mapping[str, Criterion]:
    """The step's own criteria, and the plate's for continuous power."""
    load_ohm = entry.conditions.load_ohm
    rating = amplifier.rating(load_ohm) if load_ohm is not None else None
    rated = {} if rating is None else {"continuous_power": Criterion(relation="above", bound=rating.power_w, unit="W")}
    return {**rated, **getattr(planned.step, "expect", {})}


def _false_verdict(
    figure: Figure, true_value: float, entry: FiguresEntry, criteria: Mapping[str, Criterion]
) -> Iterator[str]:
    criterion = criteria.get(figure.name)
    # Of a criterion that is told from an earlier figure the truth of that one would be needed too.
    if criterion is None or criterion.of or figure.verdict not in {"passes", "fails"}:
        return
    exact = replace(figure, value=true_value, expanded_uncertainty=0.0, bound="", contradiction="")
    if judged_by(exact, criterion).verdict != figure.verdict:
        measured, true = render(figure.value, figure.unit), render(true_value, figure.unit)
        yield (
            f"{entry.step}: {figure.name} {figure.channel} of {measured} {figure.verdict}, and the truth is {true}; "
            f"wanted {criterion}"
        )
