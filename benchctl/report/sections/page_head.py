"""The head of a page: what must not be overlooked, and what the run was."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from benchctl.archive.evidence.findings import Findings
from benchctl.archive.folder import made_at
from benchctl.archive.journal.events import NOT_WATCHED, SEARCH, WARNINGS_ACCEPTED
from benchctl.measure.method import methods_in_words
from benchctl.quantity import clock_face
from benchctl.report.reading.run_outcome import RunOutcome
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.agreement import contradictions_in_words
from benchctl.report.sections.predicted import departures
from benchctl.report.sections.simulated import reached_through_this_computer


@dataclass(frozen=True)
class Box:
    """What must not be overlooked; `look` as of a verdict."""

    title: str
    look: str
    texts: tuple[str, ...] = ()
    items: tuple[str, ...] = ()


def boxes_of(run_record: RunRecord, outcome: RunOutcome, missing: Sequence[str]) -> Iterator[Box]:
    """In the order of what matters most."""
    yield from _safety(run_record, outcome)
    yield from _ending(outcome)
    yield from _blind_spots(run_record)
    yield from evidence_boxes(run_record.findings)
    if wrong := contradictions_in_words(run_record):
        text = "Figures that depend on this keep their values and have no verdict."
        yield Box("Instruments contradict each other", "fails", (text,), tuple(wrong))
    if departed := departures(run_record):
        text = "A figure is told here once for each cause; the table of what was predicted has them all."
        yield Box("Not as an earlier run of this unit lets expect", "untold", (text,), departed)
    if remarks := tuple(search_remarks(run_record)):
        yield Box("What the searches for clean levels met", "untold", items=remarks)
    for warnings in run_record.of_kind(WARNINGS_ACCEPTED):
        reason = f"Reason given: {warnings.get('reason', '')}"
        yield Box("Warnings of preflight that were waived", "untold", (reason,), _texts(warnings.get("warnings", ())))
    if reached := reached_through_this_computer(run_record):
        text = "A program on this computer stood between. Whether it led to a real instrument is not on record."
        yield Box("Instruments reached at an address of this computer", "untold", (text,), tuple(reached))
    unmeasured = tuple(f"{step.label}: {step.unmeasured}" for step in run_record.steps if step.unmeasured)
    if unmeasured:
        yield Box("Steps that lack figures", "untold", items=unmeasured)
    if early := tuple(f"{step.label}: {step.ended_early}" for step in run_record.steps if step.ended_early):
        yield Box("Drives that ended before their time", "untold", items=early)
    if missing:
        yield Box("Missing from the run folder", "untold", items=tuple(missing))


def search_remarks(run_record: RunRecord) -> Iterator[str]:
    """Distortion beside clipping, and levels far below the plate, each with its step."""
    for search in run_record.of_kind(SEARCH):
        for remark in _texts(search.get("remarks", ())):
            yield f"{search.get('step', '')}: {remark}"


def _safety(run_record: RunRecord, outcome: RunOutcome) -> Iterator[Box]:
    yield from _safety_at_the_end(run_record, outcome)
    if outcome.earlier:
        text = "Each part begins only once every instrument has confirmed the safe state."
        yield Box("Not safe at the end of an earlier part", "fails", (text,), tuple(map(str, outcome.earlier)))


def _ending(outcome: RunOutcome) -> Iterator[Box]:
    """That it did not come to its end, and why."""
    if outcome.is_told and not outcome.is_finished:
        yield Box("The run did not come to its end", "fails", (outcome.words,))
    elif not outcome.is_told and outcome.ending == "killed":
        yield Box("The run was cut off", "untold", (outcome.words,))


def _safety_at_the_end(run_record: RunRecord, outcome: RunOutcome) -> Iterator[Box]:
    if run_record.is_running:
        yield Box("The run still goes on", "untold", ("This page shows what there was of it when the page was made.",))
    elif outcome.unconfirmed:
        items = tuple(f"{part}. By hand: {part.by_hand}." for part in outcome.unconfirmed)
        texts = (outcome.guardian,) if outcome.guardian else ()
        yield Box("Not safe: instruments did not confirm the safe state", "fails", texts, items)
    elif not outcome.is_told and outcome.guardian:
        yield Box("The run was interrupted", "fails", (outcome.guardian,))
    elif not outcome.is_told and not run_record.is_dry:
        yield Box(
            "Nobody knows whether the bench is safe",
            "fails",
            ("The journal does not say. Look at each instrument's own display, or run: benchctl safe --bench BENCH",),
        )


def _blind_spots(run_record: RunRecord) -> Iterator[Box]:
    items = dict.fromkeys(text for event in run_record.of_kind(NOT_WATCHED) for text in _texts(event.get("texts", ())))
    if items:
        yield Box("Not watched in this run", "untold", items=tuple(items))


def evidence_boxes(findings: Findings, where: str = "") -> Iterator[Box]:
    """What was changed after the run, accepted, or cannot be told; `where` names the run, if there are several."""
    if findings.changed:
        text = "The run folder is not as the run left it. What the page says of these may not be what was measured."
        yield Box(f"Changed after the run wrote it{where}", "fails", (text,), findings.changed)
    if findings.accepted:
        yield Box(
            f"Inputs changed between two parts of the run, and accepted{where}", "untold", items=findings.accepted
        )
    if findings.unproven:
        yield Box(f"Cannot be checked for changes{where}", "untold", items=findings.unproven)


def _texts(values: Sequence[object]) -> tuple[str, ...]:
    return tuple(str(value) for value in values)


def facts_of(run_record: RunRecord) -> Iterator[str]:
    """When and where, in short."""
    yield date_of(run_record)
    if run_record.bench:
        yield run_record.bench.title


def course_of(run_record: RunRecord, outcome: RunOutcome) -> Iterator[tuple[str, str]]:
    """Name and text of each fact on how the run went and ended."""
    yield "How it ended", outcome.words
    yield "Exit code", outcome.code_in_words
    if outcome.is_safe:
        yield "Safe state", "every instrument confirmed it"
    elif outcome.earlier:
        yield "Safe state", "not confirmed in every part of the run; see above"
    yield "Took", f"{clock_face(run_record.duration_s)}{' of virtual time' if run_record.is_dry else ''}"
    if settings := run_record.began.get("settings"):
        yield "Parameters set", ", ".join(f"{name}={value}" for name, value in settings.items())
    yield "Run folder", run_record.name


def date_of(run_record: RunRecord) -> str:
    """The day on which the folder was made, which its name begins with; the journal's own where it was renamed."""
    if made := made_at(run_record.name):
        return f"{made:%Y-%m-%d %H:%M} UTC"
    walls = [str(event["wall"]) for event in run_record.events]
    return f"{walls[0][:16].replace('T', ' ')} UTC" if walls and not run_record.is_dry else "not known"


def versions_of(run_record: RunRecord) -> Iterator[tuple[str, str]]:
    """With what the run was made, and from which seed a simulated one."""
    for name, version in (run_record.began.get("versions") or {}).items():
        yield str(name), str(version)
    if run_record.entries:
        yield "method of computing figures", methods_in_words(entry.method for entry in run_record.entries)
    if run_record.is_dry and run_record.began.get("seed") is not None:
        yield "seed of the simulation", str(run_record.began["seed"])
