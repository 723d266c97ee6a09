"""Where the pictures of a run come from, in one line: the amplifier, the bench, the day, the program."""

from __future__ import annotations

from collections.abc import Sequence

from benchctl.report.comparison.compared import Comparison
from benchctl.report.comparison.sentence import sentence_of
from benchctl.report.frames.lettering import Said
from benchctl.report.headline.writing import headline_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.page_head import date_of
from benchctl.report.sections.simulated import Mark, mark_of, mark_of_comparison


def said_of(run_record: RunRecord) -> Said:
    """What is said around every picture of a run. The sentence of one that did not end well stays whole."""
    headline = headline_of(run_record)
    more = "; ".join(clause.text for clause in headline.clauses)
    value, lead, more = ("", str(headline), "") if headline.ending else (headline.value, headline.rest, more)
    return Said(value, lead, more, source_of(run_record), mark_in_words(mark_of(run_record)), str(headline))


def said_of_comparison(comparison: Comparison) -> Said:
    """What is said around every picture of several runs: the change large, the values before and after below."""
    sentence, run_records = sentence_of(comparison), comparison.run_records
    mark = mark_in_words(mark_of_comparison(run_records, comparison.names.each))
    lead = sentence.lead[:1].upper() + sentence.lead[1:]
    more = "; ".join(sentence.more)
    return Said(
        sentence.value, lead, more[:1].upper() + more[1:], source_of_comparison(run_records), mark, str(sentence)
    )


def source_of_comparison(run_records: Sequence[RunRecord]) -> str:
    """The same of several runs: what they share is said once."""
    benches = [run_record.bench.title for run_record in run_records if run_record.bench]
    each = (
        [run_record.unit for run_record in run_records],
        map(day_of, run_records),
        map(program_of, run_records),
        benches,
    )
    return " · ".join(filter(None, (" and ".join(filter(None, dict.fromkeys(said))) for said in each)))


def source_of(run_record: RunRecord) -> str:
    """As in: HX 2150, serial 17 · 2026-11-24 · benchctl 0.1.0 · Bench 2. A line that is too long loses its end, so the
    bench stands there."""
    bench = run_record.bench.title if run_record.bench else ""
    return " · ".join(filter(None, [run_record.unit, day_of(run_record), program_of(run_record), bench]))


def day_of(run_record: RunRecord) -> str:
    """The day of the run, without the hour."""
    return date_of(run_record)[:10] if date_of(run_record)[:1].isdigit() else ""


def program_of(run_record: RunRecord) -> str:
    """The program and its version, as the run has kept it."""
    versions = run_record.began.get("versions") or {}
    return f"benchctl {versions.get('benchctl', '')}".strip()


def mark_in_words(mark: Mark | None) -> str:
    """The strip above a picture of what is no measurement."""
    if mark is None:
        return ""
    return mark.lead if mark.lead.startswith(mark.caption.rstrip(".")) else f"{mark.caption} {mark.lead}"
