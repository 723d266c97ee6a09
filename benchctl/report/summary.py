"""The result of a run as data, for a program: the same as its page says at the top."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from benchctl.archive.changes import Change, Occasion
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.report.comparison.compared import Comparison, compare, significance_of
from benchctl.report.comparison.findings import findings_of, line_of
from benchctl.report.comparison.sentence import sentence_of
from benchctl.report.comparison.tables import unlike
from benchctl.report.headline.writing import headline_of
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.agreement import contradictions_in_words
from benchctl.report.sections.page_head import date_of
from benchctl.report.sections.rated_power import PowerRow, power_rows
from benchctl.report.sections.verdicts import overall_of


def summary_of(run_record: RunRecord) -> dict[str, Any]:
    """Amplifier, ending, verdicts and clean power against the rating; numbers in base units."""
    outcome, overall = run_outcome_of(run_record), overall_of(run_record, run_outcome_of(run_record))
    return {
        "folder": str(run_record.folder.path),
        "amplifier": run_record.amplifier.title if run_record.amplifier else None,
        "serial": run_record.amplifier.serial if run_record.amplifier else None,
        "sequence": run_record.sequence.title if run_record.sequence else None,
        "bench": run_record.bench.title if run_record.bench else None,
        "date": date_of(run_record),
        "dry_run": run_record.is_dry,
        **_simulation(run_record),
        "exit_code": outcome.exit_code,
        "ended": outcome.words,
        "unconfirmed": [vars(part) for part in outcome.unconfirmed],
        "not_safe_after_earlier_parts": [str(part) for part in outcome.earlier],
        "headline": str(headline_of(run_record)),
        "verdict": overall.word,
        "verdicts": {verdict: _count(run_record, verdict) for verdict in ("passes", "fails", "inconclusive")},
        "contradictions": contradictions_in_words(run_record),
        "power": [each for row in power_rows(run_record.entries, run_record.amplifier) for each in _power(row)],
        "missing": list(run_record.missing),
        "changed": list(run_record.findings.changed),
        "accepted": list(run_record.findings.accepted),
        "cannot_be_checked": list(run_record.findings.unproven),
        "is_running": run_record.is_running,
    }


def _simulation(run_record: RunRecord) -> dict[str, Any]:
    """Whether any instrument was simulated, None where that is not on record; and which."""
    simulation = run_record.simulation
    return {
        "simulated": simulation.is_simulated,
        "simulated_instruments": list(simulation.simulated),
        "replayed": simulation.is_replayed,
    }


def _count(run_record: RunRecord, verdict: str) -> int:
    return sum(figure.verdict == verdict for entry in run_record.entries for figure in entry.figures)


def _power(row: PowerRow) -> list[dict[str, Any]]:
    return [
        {
            **_conditions(row.conditions),
            "channel": row.channel,
            "turn": row.turn,
            "rated_w": row.rated_w,
            **_figure(figure),
        }
        for figure in row.by_length.values()
    ]


def _conditions(conditions: Conditions) -> dict[str, Any]:
    """By the names of the columns of figures.csv. Of clean power, each length has a level of its own: see there."""
    told = asdict(conditions)
    return told | {"driven": list(conditions.driven)}


def _figure(figure: Figure) -> dict[str, Any]:
    return {
        "figure": figure.name,
        "burst_cycles": figure.burst_cycles,
        "value": figure.value,
        "unit": figure.unit,
        "expanded_uncertainty": figure.expanded_uncertainty,
        "coverage_factor": figure.coverage_factor,
        "bound": figure.bound,
        "bound_reason": figure.bound_reason,
        "verdict": figure.verdict,
        "capture": figure.capture,
        "contradiction": figure.contradiction,
    }


def comparison_summary(run_records: list[RunRecord]) -> dict[str, Any]:
    """The runs in their order with their names, what changed in words, what they should share and do not, and each
    figure that differs significantly."""
    comparison = compare(run_records)
    return {
        "order": [str(run_record.folder.path) for run_record in comparison.run_records],
        "names": list(comparison.names.each),
        "headline": str(sentence_of(comparison)),
        "findings": [str(line_of(finding, comparison)) for finding in findings_of(comparison)],
        "unlike": unlike(run_records),
        "changes": _changes(comparison),
    }


def _changes(comparison: Comparison) -> list[dict[str, Any]]:
    return [
        _place(place) | {"runs": [_run(change) for change in changes]}
        for place, changes in comparison.significant().items()
    ]


def _place(place: Occasion) -> dict[str, Any]:
    name, channel, cycles, *_ = place.identity
    return {
        "step": place.step,
        "figure": name,
        "channel": channel,
        "burst_cycles": cycles,
        **_conditions(place.conditions),
    }


def _run(change: Change) -> dict[str, Any]:
    """The figure in the first run and in one of the others."""
    return {
        "before": None if change.before is None else _figure(change.before),
        "after": None if change.after is None else _figure(change.after),
        "significance": significance_of(change),
    }
