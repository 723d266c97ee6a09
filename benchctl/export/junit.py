"""Verdicts as JUnit XML, for those who test in series: a test case for each verdict.

What is not known to be good does not pass: an inconclusive verdict is a failure of the type `inconclusive`. A run that
did not come to its end, a bench that is not known to be safe, and a folder that was changed are errors.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree
from xml.etree.ElementTree import Element, SubElement

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.export.tables import required_of, runs_table
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.words import burst_in_words, unit_in_words, value_in_words
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.agreement import contradictions_in_words

# XML 1.0, 2.2: the characters that may stand in a document.
_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(frozen=True)
class Case:
    """A test case. `result` is empty where it passes, or `failure`, `error` or `skipped`; `kind` says of what type."""

    group: str
    name: str
    result: str = ""
    kind: str = ""
    why: str = ""
    known: str = ""


def junit_file(run_records: Sequence[RunRecord], *, with_owner: bool) -> bytes:
    """The bytes of the file: a test suite for each run."""
    root = Element("testsuites", name="benchctl")
    for run_record in run_records:
        root.append(_suite(run_record, with_owner=with_owner))
    for total in ("tests", "failures", "errors", "skipped"):
        root.set(total, str(sum(int(suite.get(total, "0")) for suite in root)))
    ElementTree.indent(root)
    content = io.BytesIO()
    ElementTree.ElementTree(root).write(content, encoding="utf-8", xml_declaration=True)
    return content.getvalue() + b"\n"


def _suite(run_record: RunRecord, *, with_owner: bool) -> Element:
    cases = [*_of_run(run_record), *_of_figures(run_record), *_of_steps(run_record)]
    mark = f"{run_record.simulation.word.upper()}: " if run_record.simulation.is_simulated else ""
    suite = Element("testsuite", name=_clean(f"{mark}{run_record.name}"))
    counts = {"failures": "failure", "errors": "error", "skipped": "skipped"}
    suite.set("tests", str(len(cases)))
    for name, result in counts.items():
        suite.set(name, str(sum(case.result == result for case in cases)))
    suite.set("time", f"{run_record.duration_s:.3f}")
    if run_record.events:
        suite.set("timestamp", _clean(str(run_record.events[0]["wall"])[:19]))
    _tell_about(run_record, suite, with_owner=with_owner)
    for case in cases:
        suite.append(_element(case))
    return suite


def _tell_about(run_record: RunRecord, suite: Element, *, with_owner: bool) -> None:
    """What the table of runs says of it, as properties."""
    table = runs_table([run_record], with_owner=with_owner)
    properties = SubElement(suite, "properties")
    for column, value in zip(table.columns, table.rows[0], strict=True):
        text = "not on record" if value is None else str(value).lower() if isinstance(value, bool) else str(value)
        SubElement(properties, "property", name=column.name, value=_clean(text))


def _element(case: Case) -> Element:
    element = Element("testcase", classname=_clean(case.group), name=_clean(case.name), time="0")
    if case.result == "skipped":
        SubElement(element, "skipped", message=_clean(case.why))
    elif case.result:
        SubElement(element, case.result, type=case.kind, message=_clean(case.why)).text = _clean(case.why)
    if case.known:
        SubElement(element, "system-out").text = _clean(case.known)
    return element


def _clean(text: str) -> str:
    return _FORBIDDEN.sub("\ufffd", text)


# -- the run ---------------------------------------------------------------------------------------------------------


def _of_run(run_record: RunRecord) -> Iterator[Case]:
    outcome, findings = run_outcome_of(run_record), run_record.findings
    yield _judged("the run comes to its end", outcome.is_finished, outcome.ending, outcome.words)
    yield _judged("the bench is known to be safe", outcome.is_safe, "not safe", _why_unsafe(run_record))
    unread = [*run_record.missing, *findings.changed]
    yield _judged("the run folder is whole and as the run left it", not unread, "damaged", " ".join(unread))
    wrong = contradictions_in_words(run_record)
    yield _judged("no instrument contradicts another", not wrong, "contradiction", " ".join(wrong))
    if not any(figure.verdict for entry in run_record.entries for figure in entry.figures):
        yield Case("run", "figures are judged", "skipped", why="nothing was required of any figure that was measured")


def _judged(name: str, is_good: bool, kind: str, why: str) -> Case:
    return Case("run", name) if is_good else Case("run", name, "error", kind, why)


def _why_unsafe(run_record: RunRecord) -> str:
    outcome = run_outcome_of(run_record)
    if not outcome.is_told:
        return f"The journal does not tell whether every output is off. {outcome.guardian}".rstrip()
    return " ".join([*map(str, outcome.unconfirmed), *map(str, outcome.earlier), outcome.guardian])


def _of_steps(run_record: RunRecord) -> Iterator[Case]:
    for step in run_record.steps:
        if step.unmeasured:
            yield Case(step.label, "gives its figures", "failure", "not measured", step.unmeasured)


# -- the figures -----------------------------------------------------------------------------------------------------


def _of_figures(run_record: RunRecord) -> Iterator[Case]:
    places = ((entry, figure) for entry in run_record.entries for figure in entry.figures)
    for (entry, figure), (_, required) in zip(places, required_of(run_record), strict=True):
        if figure.verdict:
            yield _case(entry, figure, required)


def _case(entry: FiguresEntry, figure: Figure, required: str) -> Case:
    burst = burst_in_words(figure.burst_cycles) if figure.burst_cycles else ""
    name = " ".join(filter(None, (figure.name, figure.channel, burst)))
    known = " ".join(filter(None, (value_in_words(figure), unit_in_words(figure))))
    told = f"{known}, must be {required}" if required else known
    place = f"{name} [{entry.conditions_of(figure)}]"
    if figure.verdict == "passes":
        return Case(entry.step, place, known=told)
    reasons = filter(None, (told, figure.contradiction, figure.bound_reason))
    return Case(entry.step, place, "failure", figure.verdict, "; ".join(reasons), told)
