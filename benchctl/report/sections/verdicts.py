"""What the verdicts of a run come to, and what each of them was held against."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import astuple, dataclass, replace

from pydantic import ValidationError

from benchctl.archive.collection.overall import Counts, OverallVerdict, overall_verdict
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.sight import unseen_outputs, unwatched
from benchctl.documents.model.criteria import Criterion
from benchctl.documents.model.limits import HEATSINK
from benchctl.documents.text.words import outputs_in_words
from benchctl.measure.budget.figure import Figure, Verdict
from benchctl.measure.budget.words import burst_in_words, verdicts_in_words
from benchctl.measure.conditions import Conditions
from benchctl.report.reading.run_outcome import RunOutcome
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.reading.step_history import StepTaken
from benchctl.report.sections.tables import Cell, Table, heads, look_of, name_cell
from benchctl.report.words.quantities import setting, stated, with_uncertainty

DECISION_RULE = (
    "A verdict passes if the whole interval of value ± U keeps the requirement, fails if none of it does, and "
    "otherwise is inconclusive: guarded acceptance and guarded rejection with a guard band of U (JCGM 106)."
)


@dataclass(frozen=True)
class Overall:
    """The verdict on the whole run; `look` is one of 'passes', 'fails', 'untold'."""

    word: str
    why: str
    look: str


def overall_of(run_record: RunRecord, outcome: RunOutcome) -> Overall:
    """One word for the run: it passes only if it came to its end, gave its figures, every verdict passes, and nobody
    changed its folder since."""
    verdicts = [figure.verdict for entry in run_record.entries for figure in entry.figures]
    passes, fails, inconclusive = (verdicts.count(word) for word in _WORDS)
    counts = Counts(
        passes,
        fails,
        inconclusive,
        unmeasured=sum(bool(step.unmeasured) for step in run_record.steps),
        contradicted=sum(bool(figure.contradiction) for entry in run_record.entries for figure in entry.figures),
    )
    why = f"{_sentence(verdicts_in_words(*astuple(counts)))}."
    why = " ".join([why, *_left_out(run_record)])
    if not outcome.is_finished:
        why = f"The run did not come to its end. {why}"
    is_changed = bool(run_record.findings.changed)
    if is_changed:
        why = f"The run folder was changed after the run wrote it. {why}"
    verdict = overall_verdict(counts, is_finished=outcome.is_finished, is_changed=is_changed)
    return Overall(_sentence(verdict), why, _LOOKS.get(verdict, "untold"))


def _left_out(run_record: RunRecord) -> Iterator[str]:
    """What no verdict says anything of, because nothing on the bench saw it."""
    bench, amplifier = run_record.bench, run_record.amplifier
    if bench is None or amplifier is None:
        return
    if channels := unseen_outputs(bench, amplifier):
        yield f"{_sentence(outputs_in_words(channels))} {'were' if len(channels) > 1 else 'was'} not measured."
    if HEATSINK in unwatched(bench, amplifier):
        yield "The heatsink was not watched."


# Powers that the plate judges unless the sequence says otherwise.
_RATED_POWERS = ("continuous_power", "held_power", "stated_power")
_WORDS: tuple[Verdict, ...] = ("passes", "fails", "inconclusive")
_LOOKS: Mapping[OverallVerdict, str] = {"passes": "passes", "fails": "fails"}


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]


def requirement_in_words(
    figure: Figure, step: StepTaken | None, entry: FiguresEntry, amplifier: Amplifier | None
) -> str:
    """What a figure with a verdict was held against, as the sequence or the rating plate says it."""
    if not figure.verdict:
        return ""
    criterion = _expected(figure, step) if step is not None else None
    if criterion is not None:
        return _in_words(figure, criterion)
    rating = amplifier.rating(entry.conditions.load_ohm) if amplifier and entry.conditions.load_ohm else None
    if rating is None:
        return ""
    if figure.name in _RATED_POWERS:
        return f"above {setting(rating.power_w, 'W')}, the rating"
    return f"below {100.0 * rating.thd_n:g} %, that of the rating" if figure.name == "held_thd_n" else ""


def _expected(figure: Figure, step: StepTaken) -> Criterion | None:
    expected = step.settings.get("expect") or {}
    if figure.name == "gain_error" and figure.name not in expected and "within" in step.settings:
        return Criterion(relation="within", bound=float(step.settings["within"]), unit="1")
    try:
        return Criterion.model_validate(expected[figure.name]) if figure.name in expected else None
    except ValidationError:  # of a journal that somebody has changed, or of another version
        return None


def _in_words(figure: Figure, criterion: Criterion) -> str:
    """The bound in the unit that people say it in, or as the sequence tells it from an earlier figure."""
    if criterion.of:
        return str(criterion)
    bound = replace(figure, value=criterion.bound, expanded_uncertainty=None, bound="")
    return f"{criterion.relation} {stated(bound)}"


def verdicts_table(run_record: RunRecord) -> Table | None:
    """Every figure that was held against something, in order."""
    rows = tuple(
        _verdict_row(entry, figure, run_record.step_of(entry), run_record.amplifier, run_record.usual)
        for entry in run_record.entries
        for figure in entry.figures
        if figure.verdict
    )
    columns = heads("figure", "channel", numbers=["value"]) + heads("verdict", "required", "step", "conditions")
    return Table("What was held against a requirement", columns, rows).without_empty_columns() if rows else None


def _verdict_row(
    entry: FiguresEntry, figure: Figure, step: StepTaken | None, amplifier: Amplifier | None, usual: Conditions
) -> tuple[Cell, ...]:
    burst = f", {burst_in_words(figure.burst_cycles)}" if figure.burst_cycles else ""
    return (
        name_cell(figure),
        Cell(figure.channel),
        Cell(with_uncertainty(figure), "number", repr(figure.value)),
        Cell(figure.verdict, look_of(figure.verdict), note=figure.bound_reason),
        Cell(requirement_in_words(figure, step, entry, amplifier)),
        Cell(f"{entry.step.partition(' ')[0]}{burst}"),
        Cell(str(entry.conditions_of(figure).without(usual))),
    )
