"""What a run would do, with its hazards and warnings: shown as a tree, a chart and sentences, or as JSON."""

from __future__ import annotations

import json
from dataclasses import asdict

import click
from rich.console import Group, RenderableType

from benchctl.cli.shown.chart import Chart, Series
from benchctl.cli.shown.closing_line import console_for
from benchctl.cli.shown.outline import Outline, folded
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.errors import PreflightRefused
from benchctl.launch.run import Documents
from benchctl.quantity import in_minutes, render
from benchctl.runner.checks.expected_tree import ExpectedPart, expected_tree
from benchctl.runner.checks.preflight import Preflight
from benchctl.runner.checks.preflight import preflight as look_ahead
from benchctl.runner.expected.expected_step import ExpectedStep, series
from benchctl.runner.expected.state import AMBIENT_C
from benchctl.runner.plan import expand, outline


def show_preflight(documents: Documents, *, unattended: bool, show_all: bool, as_json: bool) -> int:
    """Show what a run would do, with every hazard and warning; the exit code."""
    files = documents.load()
    checked = look_ahead(files, expand(files.sequence, files.amplifier, files.bench), unattended=unattended)
    whole = expected_tree(outline(files.sequence, files.amplifier, files.bench), checked)
    if as_json:
        click.echo(json.dumps(_as_data(checked, whole), indent=2))
        return PreflightRefused.exit_code if checked.hazards else 0
    console_for().print(_shown(checked, whole, files.amplifier, show_all=show_all))
    for note in checked.notes:
        click.echo(f"Note: {note}.")
    checked.refuse_hazards(accepted="they are shown below")
    for warning in checked.warnings:
        click.echo(f"Warning: {warning}")
    click.echo("Preflight passes, except for the warnings." if checked.warnings else "Preflight passes.")
    return 0


def _shown(checked: Preflight, whole: ExpectedPart, amplifier: Amplifier, *, show_all: bool) -> RenderableType:
    """The tree, the chart, and what is to be expected of the whole."""
    in_view = whole if show_all else folded(whole)
    hint = " Long sweeps and repeats are shortened; --all shows every turn." if in_view.rows < whole.rows else ""
    return Group(
        Outline(in_view), "", *_chart(checked, amplifier), time_in_words(checked) + hint, _worst_in_words(checked)
    )


def _chart(checked: Preflight, amplifier: Amplifier) -> list[RenderableType]:
    """Current and heatsink against time; nothing where no time passes."""
    steps, maximum = checked.expected_steps, render(amplifier.heatsink.maximum_c, "degC")
    if checked.expected_s <= 0.0:
        return []
    current = Series("Highest expected supply current, A", 0.0, lambda start, end: _highest_a(steps, start, end))
    title = f"Expected heatsink temperature, degC, starting at {AMBIENT_C:g} degC; its maximum is {maximum}"
    heatsink = Series(title, AMBIENT_C - 5.0, lambda start, end: _hottest_c(steps, start, end))
    return [Chart((current, heatsink), checked.expected_s, in_minutes), ""]


def _within(steps: tuple[ExpectedStep, ...], start_s: float, end_s: float) -> list[ExpectedStep]:
    return [step for step in steps if step.duration_s > 0.0 and step.begins_s < end_s and step.ends_s > start_s]


def _highest_a(steps: tuple[ExpectedStep, ...], start_s: float, end_s: float) -> float:
    return max((step.peak_a for step in _within(steps, start_s, end_s)), default=0.0)


def _hottest_c(steps: tuple[ExpectedStep, ...], start_s: float, end_s: float) -> float:
    """A heatsink only rises or only falls within a step, so it is hottest at one of the ends."""
    return max(
        (
            step.heatsink.temperature_c(min(max(time_s, step.begins_s), step.ends_s) - step.begins_s)
            for step in _within(steps, start_s, end_s)
            for time_s in (start_s, end_s)
        ),
        default=AMBIENT_C,
    )


def time_in_words(checked: Preflight) -> str:
    """How long the run takes, open waits as is likely and at most."""
    if checked.at_most_s == checked.duration_s:
        return f"About {in_minutes(checked.duration_s)}."
    expected, at_most = in_minutes(checked.expected_s), in_minutes(checked.at_most_s)
    return f"About {expected}, cooling and settling included; at most {at_most}."


def _worst_in_words(checked: Preflight) -> str:
    """The worst case that the hazards are checked against."""
    worst_a = max((worst.supply_a for worst in checked.worst_cases), default=0.0)
    worst_w = max((worst.load_w for worst in checked.worst_cases), default=0.0)
    if not worst_w:
        return "Nothing is driven."
    return (
        f"Hazards are checked against the worst case: {render(worst_a, 'A', digits=3)} from the supply, "
        f"{render(worst_w, 'W', digits=3)} into a load."
    )


def _as_data(checked: Preflight, whole: ExpectedPart) -> dict[str, object]:
    return {
        "steps": [
            {"step": planned.label, **asdict(worst), "expected": _expected(expected_step)}
            for planned, worst, expected_step in zip(
                checked.plan, checked.worst_cases, checked.expected_steps, strict=True
            )
        ],
        "tree": asdict(whole),
        "series": [asdict(instant) for instant in series(checked.expected_steps)],
        "ambient_c": AMBIENT_C,
        "duration_s": checked.duration_s,
        "expected_s": checked.expected_s,
        "at_most_s": checked.at_most_s,
        "hazards": list(checked.hazards),
        "warnings": list(checked.warnings),
        "notes": list(checked.notes),
    }


def _expected(step: ExpectedStep) -> dict[str, float]:
    return {
        "begins_s": step.begins_s,
        "duration_s": step.duration_s,
        "energy_j": step.energy_j,
        "supply_a": step.supply_a,
        "peak_a": step.peak_a,
        "heatsink_c": step.heatsink_c,
    }
