"""The parts of a run's page, in the order in which a reader wants them; a part with nothing in it is left out."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from benchctl.report.headline.sentence import Headline
from benchctl.report.pictures.canvas import Picture
from benchctl.report.reading.run_outcome import RunOutcome
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.agreement import agreement_tables, is_compared
from benchctl.report.sections.equipment import equipment_tables
from benchctl.report.sections.event_tables import events_table, run_dates, steps_table
from benchctl.report.sections.figures import StepFigures, figures_by_step
from benchctl.report.sections.methods import UNCERTAINTY, methods_of
from benchctl.report.sections.notes import NoteShown, notes_shown
from benchctl.report.sections.page_head import course_of, versions_of
from benchctl.report.sections.plate import plate_facts, plate_table
from benchctl.report.sections.predicted import predicted_paragraphs, predicted_table
from benchctl.report.sections.rated_power import power_rows, power_tables
from benchctl.report.sections.tables import Table
from benchctl.report.sections.verdicts import DECISION_RULE, verdicts_table
from benchctl.report.sections.watched import controls_table, limits_table, protection_table, trips_table

Facts = tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Part:
    """A section of the page: a sentence on what it holds, then facts, pictures, tables, notes, figures by step and
    paragraphs, as far as it has any. `folded`: what its long content is called, which is opened with a click."""

    id: str
    title: str
    lead: str = ""
    facts: Facts = ()
    pictures: tuple[Picture, ...] = ()
    tables: tuple[Table, ...] = ()
    notes: tuple[NoteShown, ...] = ()
    steps: tuple[StepFigures, ...] = ()
    paragraphs: tuple[str, ...] = ()
    folded: str = ""
    folded_tables: tuple[Table, ...] = field(default=())

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to show but its lead."""
        content = (self.facts, self.pictures, self.tables, self.notes, self.steps, self.paragraphs, self.folded_tables)
        return not any(content)


# Part -> how the names of its pictures begin, in order.
_PICTURES = {
    "power": ("power", "cycles"),
    "distortion": ("distortion", "spectrum"),
    "efficiency": ("efficiency",),
    "noise": ("noise",),
    "response": ("response",),
    "square": ("square",),
    "time": ("trend", "waveform"),
}
# What a run is known by -> the picture that shows it; else the first of all.
_SHOWS = {
    "output_noise_a_weighted": "noise",
    "lower_band_edge": "response",
    "low_pass_corner": "response",
    "high_pass_corner": "response",
    "damping_factor": "response",
    "slew_rate": "square",
    "ramp_voltage": "trend",
    "final_heatsink_temperature": "trend",
}


def leading_picture(headline: Headline, pictures: Sequence[Picture]) -> Picture | None:
    """The picture that shows what the sentence says."""
    number = headline.lead.numbers[:1]
    wanted = _SHOWS.get(number[0].figure.name, "power") if number else "trend"
    return next((picture for picture in pictures if _is_of(picture, (wanted,))), next(iter(pictures), None))


def _is_of(picture: Picture, beginnings: Iterable[str]) -> bool:
    return any(picture.name == each or picture.name.startswith(f"{each}-") for each in beginnings)


def parts_of(run_record: RunRecord, outcome: RunOutcome, pictures: Sequence[Picture]) -> list[Part]:
    """What was found, then the amplifier, then how it was found. `pictures`: without the leading one."""
    parts = (*_found(run_record, pictures), *_amplifier(run_record), *_figures(run_record), *_how(run_record, outcome))
    return [part for part in parts if not part.is_empty]


def _found(run_record: RunRecord, pictures: Sequence[Picture]) -> Iterator[Part]:
    def of(part: str) -> tuple[Picture, ...]:
        return tuple(picture for picture in pictures if _is_of(picture, _PICTURES[part]))

    bad_ends = _there(trips_table(run_record), protection_table(run_record))
    yield Part("verdicts", "Verdicts", tables=_there(verdicts_table(run_record)))
    yield Part("protection", "What stopped it", tables=bad_ends)
    tables = power_tables(power_rows(run_record.entries, run_record.amplifier), run_record.usual)
    yield Part("power", "Output power", _CLEAN, pictures=of("power"), tables=tuple(tables))
    yield Part(
        "predicted",
        "Predicted and measured",
        tables=_there(predicted_table(run_record)),
        paragraphs=tuple(predicted_paragraphs(run_record)),
    )
    yield Part("distortion", "Distortion", pictures=of("distortion"))
    yield Part("efficiency", "Efficiency and supply current", pictures=of("efficiency"))
    yield Part("noise", "Noise", pictures=of("noise"))
    yield Part("response", "Against frequency", pictures=of("response"))
    yield Part("square", "Square waves", pictures=of("square"))
    yield Part("time", "Against time", pictures=of("time"))


_CLEAN = (
    "Clean: the highest level at which every whole cycle keeps the distortion bound; of a burst, the power of its "
    "lowest cycle."
)


def _amplifier(run_record: RunRecord) -> Iterator[Part]:
    amplifier = run_record.amplifier
    plate = _there(plate_table(amplifier))
    yield Part("amplifier", "The amplifier", "As its file tells it.", plate_facts(amplifier), tables=plate)
    yield Part("controls", "Control positions", tables=_there(controls_table(run_record)))
    yield Part("notes", "What was found and done", notes=tuple(notes_shown(run_record)))


def _figures(run_record: RunRecord) -> Iterator[Part]:
    count = sum(len(entry.figures) for entry in run_record.entries)
    yield Part(
        "figures",
        "All figures",
        "Each with its expanded uncertainty, and with the capture of the run folder that it comes from, or the "
        "readings in the journal. Its name in figures.csv stands behind its name here.",
        steps=tuple(figures_by_step(run_record)),
        folded=f"Show all {count} figures",
    )


def _how(run_record: RunRecord, outcome: RunOutcome) -> Iterator[Part]:
    yield Part("equipment", "Instruments", tables=tuple(equipment_tables(run_record)))
    yield _agreement(run_record)
    yield Part("watched", "Limits", tables=_there(limits_table(run_record)))
    dates = ((f"{what[:1].upper()}{what[1:]}", wall + _virtual(run_record)) for what, wall in run_dates(run_record))
    yield Part(
        "course",
        "Course of the run",
        facts=(*course_of(run_record, outcome), *dates),
        folded="Show all steps and events",
        folded_tables=_there(steps_table(run_record), events_table(run_record)),
    )
    methods = (DECISION_RULE, UNCERTAINTY, *methods_of(run_record))
    yield Part("methods", "Methods and uncertainty", facts=tuple(versions_of(run_record)), paragraphs=methods)


def _agreement(run_record: RunRecord) -> Part:
    """Folded is what agrees; what contradicts stands at the head of the page too."""
    found = agreement_tables(run_record)
    compared, others = [each for each in found if is_compared(each)], [each for each in found if not is_compared(each)]
    count = sum(len(table.rows) for table in compared)
    return Part(
        "agreement",
        "Instruments against each other",
        tables=tuple(others),
        folded=f"Show the {count} quantities that two instruments saw" if compared else "",
        folded_tables=tuple(compared),
    )


def _virtual(run_record: RunRecord) -> str:
    return " of virtual time" if run_record.is_dry else ""


def _there(*tables: Table | None) -> tuple[Table, ...]:
    return tuple(table for table in tables if table is not None and table.rows)
