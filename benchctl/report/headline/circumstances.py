"""What must not be left out of a sentence on a run: how it ended, what failed, what is not known, what was not seen."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from benchctl.archive.journal.ending import Ending
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.archive.journal.events import TRIP
from benchctl.documents.bench_file.sight import unseen_outputs, unwatched
from benchctl.documents.model.limits import HEATSINK
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.report.headline.sentence import Clause, Look, Number
from benchctl.report.reading.run_outcome import RunOutcome
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.verdicts import requirement_in_words
from benchctl.report.words.names import count_in_words, listed, name_of, place_of
from benchctl.report.words.quantities import said, setting

_NAMED = 2  # verdicts that are named; of more, how many there are

_ENDINGS: Mapping[Ending, str] = {
    "finished": "",
    "limit": "stopped by a limit",
    "operator": "stopped by the operator",
    "requirement": "ended early, since a requirement was not met",
    "failure": "ended by a failure",
    "killed": "interrupted",
    "running": "still running",
}


def mark_of_sentence(run_record: RunRecord) -> str:
    """What stands before a sentence that is no measurement."""
    simulation = run_record.simulation
    return simulation.word if simulation.is_told else "Perhaps simulated"


def ending_of(run_record: RunRecord, outcome: RunOutcome) -> str:
    """How it ended, where that was not as it should; with the value that tripped."""
    text = _ENDINGS[outcome.ending]
    if outcome.ending == "limit":
        text += _tripped(run_record)
    if outcome.ending in {"finished", "running"} and outcome.unconfirmed:
        text = "ended"
    return text + (" and not confirmed off" if outcome.unconfirmed else "")


def _tripped(run_record: RunRecord) -> str:
    trips = run_record.of_kind(TRIP)
    if not trips:
        return ""
    signal, value = str(trips[-1].get("limit", "")).replace("_", " "), trips[-1].get("value")
    if not isinstance(value, int | float):
        return f" ({signal} could not be read)"
    return f" ({signal} at {setting(float(value), str(trips[-1].get('unit', '')))})"


def verdicts_of(run_record: RunRecord, said_before: Sequence[Figure], at: Conditions | None) -> Iterator[Clause]:
    """What fails, and what is not known of what was to be judged, beyond the figures that were said before."""
    judged = [(entry, figure) for entry in run_record.entries for figure in entry.figures if figure.verdict]
    judged = [(entry, figure) for entry, figure in judged if not any(figure is each for each in said_before)]
    for verdict, beginning, look in _BEGINNINGS:
        found = [(entry, figure) for entry, figure in judged if figure.verdict == verdict and not figure.contradiction]
        if found:
            yield _named(run_record, beginning, look, found, at)
    if any(figure.contradiction for entry in run_record.entries for figure in entry.figures):
        yield Clause("untold", "instruments contradict each other", look="untold")
    if unmeasured := sum(bool(step.unmeasured) for step in run_record.steps):
        steps = f"{count_in_words(unmeasured)} step{'s' if unmeasured > 1 else ''}"
        yield Clause("untold", f"{steps} gave no figures", look="untold")


_BEGINNINGS: tuple[tuple[str, str, Look], ...] = (
    ("fails", "fails", "fails"),
    ("inconclusive", "no verdict on", "untold"),
)


def _named(
    run_record: RunRecord,
    beginning: str,
    look: Look,
    found: Sequence[tuple[FiguresEntry, Figure]],
    at: Conditions | None,
) -> Clause:
    """The first few, each with its value and what was asked; figures of one name at one place once."""
    by_name: dict[str, tuple[FiguresEntry, Figure]] = {}
    for entry, figure in found:
        by_name.setdefault(_name(entry, figure, at), (entry, figure))
    named = list(by_name.items())[:_NAMED]
    numbers = tuple(Number(said(figure), figure) for _, (_, figure) in named)
    texts = [
        f"{name} ({', '.join(filter(None, [number.text, _asked(run_record, entry, number.figure)]))})"
        for (name, (entry, _)), number in zip(named, numbers, strict=True)
    ]
    left = len(by_name) - len(named)
    texts += [f"{count_in_words(left)} more"] if left else []
    return Clause("fails" if look == "fails" else "untold", f"{beginning} {listed(texts)}", numbers, look)


def _asked(run_record: RunRecord, entry: FiguresEntry, figure: Figure) -> str:
    asked = requirement_in_words(figure, run_record.step_of(entry), entry, run_record.amplifier)
    return f"asked: {asked}" if asked else ""


def _name(entry: FiguresEntry, figure: Figure, at: Conditions | None) -> str:
    """Of an output's figure with its load and frequency, where they are not those of the lead."""
    found = entry.conditions_of(figure)
    is_there = at is not None and (found.load_ohm, found.frequency_hz) == (at.load_ohm, at.frequency_hz)
    is_said = figure.channel and not is_there
    return " ".join(filter(None, [name_of(figure), place_of(found) if is_said else ""]))


def unseen_of(run_record: RunRecord) -> Iterator[Clause]:
    """What nothing on the bench saw, and whether the folder is as the run left it."""
    bench, amplifier = run_record.bench, run_record.amplifier
    if bench is not None and amplifier is not None:
        if channels := unseen_outputs(bench, amplifier):
            yield Clause("unseen", f"{listed(channels)} not measured", look="untold")
        if HEATSINK in unwatched(bench, amplifier):
            yield Clause("unseen", "heatsink not watched", look="untold")
    if run_record.findings.changed:
        yield Clause("unseen", "the run folder was changed after the run", look="fails")
