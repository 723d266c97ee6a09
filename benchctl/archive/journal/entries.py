"""The journal's "figures" event: the figures of one analysis, and all that is needed to compute them again."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any

from pydantic import TypeAdapter, ValidationError

from benchctl.archive.journal.earlier_names import in_names_of_today
from benchctl.archive.journal.events import FIGURES, HANDS, NEW_PARTS, STEP_GIVEN_UP
from benchctl.archive.journal.journal import Event
from benchctl.errors import ArchiveError
from benchctl.measure.agreement.comparison import Comparison, contradictions, doubted
from benchctl.measure.analyses.by_step import ANALYSES
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.zero import Zeros, zeros_of
from benchctl.measure.conditions import Conditions, common_to
from benchctl.measure.method import FIRST_METHOD
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import Accuracy

# Figures are kept to this many digits: far more than any oscilloscope gives, and few enough that another machine,
# whose vector instructions add in another order, computes the same figures.
STORED_DIGITS = 10


@dataclass(frozen=True)
class FiguresEntry:
    """One analysis with its outcome.

    `step` is the step's name in the sequence, `analysis` a name in `measure.analyses.ANALYSES`; `captures` maps role
    to file in the run folder, `readings` name to values in base units (None where one could not be read); `context`
    is the analysis's context as JSON. `captured` maps file to the conditions of that record: a burst is recorded at
    several levels, a response at many frequencies. `comparisons` holds the comparisons between instruments; None in a
    folder from before they were made. `name` is what the sequence calls the step. `criteria` holds what the figures
    were judged against, by figure; None in a folder from before they were kept. `method` is the number of the method
    that computed the figures (`measure.method`).
    """

    step: str
    analysis: str
    captures: Mapping[str, str]
    readings: Mapping[str, Sequence[float | None]]
    context: Mapping[str, Any]
    conditions: Conditions
    figures: Sequence[Figure]
    captured: Mapping[str, Conditions] = field(default_factory=dict)
    time_s: float = 0.0
    number: int = 0
    comparisons: Sequence[Comparison] | None = None
    name: str = ""
    criteria: Mapping[str, Mapping[str, Any]] | None = None
    method: int = FIRST_METHOD

    @classmethod
    def of_event(cls, event: Event) -> FiguresEntry:
        """Read it back from the journal.

        Raises:
            ArchiveError: the event lacks something or holds something that a figures event should not.
        """
        try:
            return _ENTRY.validate_python(in_names_of_today(event))
        except ValidationError as error:
            first = error.errors()[0]
            place = ".".join(str(part) for part in first["loc"])
            raise ArchiveError(
                f"journal event {event['number']} is not a figures event: {place}: {first['msg']}",
                advice="Put journal.jsonl back as the run left it, from a copy.",
            ) from error

    def fields(self) -> dict[str, Any]:
        """What the journal writes of it, besides number and time."""
        fields = asdict(self)
        del fields["time_s"], fields["number"]
        for added in ("comparisons", "criteria"):
            if fields[added] is None:
                del fields[added]
        return fields

    def conditions_of(self, figure: Figure) -> Conditions:
        """The conditions of one figure: drive as in its records; its own load or frequency, if it has one."""
        records = [self.captured[file] for file in figure.capture.split() if file in self.captured]
        found = self.conditions.driven_as(common_to(records)) if records else self.conditions
        if figure.load_ohm is None and figure.frequency_hz is None:
            return found
        return replace(
            found,
            load_ohm=found.load_ohm if figure.load_ohm is None else figure.load_ohm,
            frequency_hz=found.frequency_hz if figure.frequency_hz is None else figure.frequency_hz,
        )

    def named_readings(self) -> dict[str, list[float]]:
        """The readings as an analysis takes them: NaN where one could not be read."""
        return {
            name: [math.nan if value is None else value for value in values] for name, values in self.readings.items()
        }


_ENTRY = TypeAdapter(FiguresEntry)
_CONDITIONS = TypeAdapter(Conditions)


def context_of(entry: FiguresEntry) -> Any:
    """The context of an analysis, as the object that the analysis takes.

    Raises:
        ArchiveError: this version knows no such analysis, or the context does not belong to it.
    """
    if entry.analysis not in ANALYSES:
        raise ArchiveError(f"this version knows no analysis '{entry.analysis}'")
    try:
        return _adapter(ANALYSES[entry.analysis].context).validate_python(entry.context)
    except ValidationError as error:
        raise ArchiveError(f"the context of '{entry.analysis}' in step '{entry.step}' is not valid: {error}") from error


def conditions_of(event: Event) -> Conditions:
    """What the bench was set to when a step began or ended; all unset if an older run did not keep it.

    Raises:
        ArchiveError: the event holds something else there.
    """
    try:
        return _CONDITIONS.validate_python(event.get("conditions") or {})
    except ValidationError as error:
        raise ArchiveError(f"the conditions in journal event {event.get('number')} are not valid: {error}") from error


def entries_of(events: Sequence[Event]) -> list[FiguresEntry]:
    """The figures entries among a journal's events, in order, without those that are not results.

    Where instruments contradict each other in a part of the run, the figures of that part that depend on it say so.
    """
    return with_contradictions(parts_of(events))


def parts_of(
    events: Sequence[Event], read: Callable[[Event], FiguresEntry | None] = FiguresEntry.of_event
) -> list[list[FiguresEntry]]:
    """The entries as they were written, by the parts of the run; the last one is the present part.

    `read`: turns an event into its entry, or into None if it is not a figures event and is left out.
    """
    parts: list[list[FiguresEntry]] = [[]]
    for event in results_of(events):
        if event["event"] in NEW_PARTS:
            parts.append([])
        elif event["event"] == FIGURES and (entry := read(event)) is not None:
            parts[-1].append(entry)
    return parts


def with_contradictions(parts: Iterable[Sequence[FiguresEntry]]) -> list[FiguresEntry]:
    """All entries; each figure that depends on a contradiction in its part carries the sentence about it."""
    return [entry for part in parts for entry in _with_contradictions(part)]


def _with_contradictions(part: Sequence[FiguresEntry]) -> Sequence[FiguresEntry]:
    wrong = contradictions(comparison for entry in part for comparison in entry.comparisons or ())
    return [replace(entry, figures=doubted(entry.figures, wrong)) for entry in part] if wrong else part


def results_of(events: Sequence[Event]) -> list[Event]:
    """The events of a journal without the results of a step that was given up and started again."""
    void = {number for event in events if event["event"] == STEP_GIVEN_UP for number in event["no_results"]}
    return [event for event in events if not void or event["number"] not in void]


def positions_of(events: Sequence[Event]) -> dict[str, str]:
    """The last answer to each prompt: the position of each control, and anything else that was asked for."""
    answers = (event.get("answers") or {} for event in events if event["event"] == HANDS)
    return {str(name): str(answer) for said in answers for name, answer in said.items()}


def context_as_json(context: Any) -> dict[str, Any]:
    """A context dataclass in JSON form; `pydantic.TypeAdapter` of its type reads it back.

    Raises:
        ArchiveError: it holds a number that is not finite, which JSON cannot hold.
    """
    return dict(_adapter(type(context)).dump_python(context, mode="json"))


def _adapter(kind: type[Any]) -> TypeAdapter[Any]:
    """Kept: it is made in a millisecond, and asked for at each analysis."""
    if kind not in _ADAPTERS:
        _ADAPTERS[kind] = TypeAdapter(kind)
    return _ADAPTERS[kind]


_ADAPTERS: dict[type[Any], TypeAdapter[Any]] = {}


def accuracy_as_json(accuracy: Mapping[str, Sequence[Accuracy]]) -> dict[str, list[dict[str, float]]]:
    """Each signal's chain as JSON can hold it."""
    return {signal: [asdict(each) for each in chain] for signal, chain in accuracy.items()}


def zeros_of_event(event: Event, record: Capture) -> Zeros:
    """What the record of zeros that this event tells of holds."""
    accuracy = {signal: [Accuracy(**each) for each in chain] for signal, chain in event["accuracy"].items()}
    found = zeros_of(record, accuracy, event["bits"])
    return {signal: zeros for signal, zeros in found.items() if signal in accuracy}


def readings_as_json(readings: Mapping[str, Sequence[float]]) -> dict[str, list[float | None]]:
    """Readings with None in place of those that are not finite."""
    return {
        name: [float(value) if math.isfinite(value) else None for value in values] for name, values in readings.items()
    }


def as_stored(figure: Figure) -> Figure:
    """The figure with value and uncertainty rounded to their last stored place."""
    place = last_place(figure)
    uncertainty = figure.expanded_uncertainty
    return replace(
        figure,
        value=_rounded(figure.value, place),
        expanded_uncertainty=None if uncertainty is None else _rounded(uncertainty, place),
    )


def last_place(figure: Figure) -> int | None:
    """The power of ten of the last stored place, counted from the larger of value and uncertainty.

    So a value that is only rounding noise within its uncertainty is stored as zero. None for a figure of exactly zero
    without uncertainty, which has no last place.
    """
    size = max(abs(figure.value), figure.expanded_uncertainty or 0.0)
    return math.floor(math.log10(size)) - (STORED_DIGITS - 1) if size > 0.0 else None


def _rounded(value: float, place: int | None) -> float:
    return value if place is None else round(value, -place) + 0.0  # + 0.0 makes -0.0 into 0.0
