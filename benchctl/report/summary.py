"""What a run came to, for a program: the same as its page says at the top."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from benchctl.archive.changes import Change, Place
from benchctl.measure.budget.figure import Figure
from benchctl.measure.conditions import Conditions
from benchctl.report.comparison import Comparison, compare, significance_of, unlike
from benchctl.report.reading.run_outcome import ending_of
from benchctl.report.reading.run_record import Story
from benchctl.report.sections.agreement import contradictions_in_words
from benchctl.report.sections.page_head import date_of
from benchctl.report.sections.rated_power import PowerRow, power_rows
from benchctl.report.sections.verdicts import overall_of


def summary_of(story: Story) -> dict[str, Any]:
    """Amplifier, ending, verdicts and clean power against the rating; numbers in base units."""
    ending, overall = ending_of(story), overall_of(story, ending_of(story))
    return {
        "folder": str(story.folder.path),
        "amplifier": story.amplifier.title if story.amplifier else None,
        "serial": story.amplifier.serial if story.amplifier else None,
        "sequence": story.sequence.title if story.sequence else None,
        "bench": story.bench.title if story.bench else None,
        "date": date_of(story),
        "dry_run": story.is_dry,
        "exit_code": ending.exit_code,
        "ended": ending.words,
        "unconfirmed": [vars(part) for part in ending.unconfirmed],
        "verdict": overall.word,
        "verdicts": {verdict: _count(story, verdict) for verdict in ("passes", "fails", "inconclusive")},
        "contradictions": contradictions_in_words(story),
        "power": [each for row in power_rows(story.entries, story.amplifier) for each in _power(row)],
        "missing": list(story.missing),
        "changed": list(story.findings.changed),
        "accepted": list(story.findings.accepted),
        "cannot_be_checked": list(story.findings.unproven),
        "is_running": story.is_running,
    }


def _count(story: Story, verdict: str) -> int:
    return sum(figure.verdict == verdict for entry in story.entries for figure in entry.figures)


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
        "verdict": figure.verdict,
        "capture": figure.capture,
        "contradiction": figure.contradiction,
    }


def comparison_summary(stories: list[Story]) -> dict[str, Any]:
    """What the runs should share and do not, and each figure that differs significantly or is in one run only."""
    comparison = compare(stories)
    return {"unlike": unlike(stories), "changes": _changes(comparison)}


def _changes(comparison: Comparison) -> list[dict[str, Any]]:
    return [
        _place(place) | {"runs": [_run(change) for change in changes]}
        for place, changes in comparison.significant().items()
    ]


def _place(place: Place) -> dict[str, Any]:
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
