"""Predicted and measured: what a fit to an earlier run of this unit let expect, beside what this run has measured."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

from benchctl.archive.journal.entries import results_of
from benchctl.archive.journal.events import HELD_AGAINST_FIT
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.measure.budget.figure import Figure
from benchctl.measure.uncertainty import COVERAGE_FACTOR
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.tables import Cell, Table, heads
from benchctl.report.words.names import with_channel
from benchctl.report.words.quantities import setting, shown, with_uncertainty

AGREES, DIFFERS = "agrees within both uncertainties", "differs by more than both uncertainties explain"


def predicted_table(run_record: RunRecord) -> Table | None:
    """Every figure that was predicted; None where nothing was."""
    rows = tuple(_row(event, row) for event in _held(run_record) for row in event["rows"])
    if not rows:
        return None
    columns = heads("step", "load", "figure", numbers=("predicted", "measured", "difference", "explained"))
    note = "Difference: measured less predicted. Explained: both expanded uncertainties (95 %) together."
    return Table(
        "Predicted and measured", (*columns, *heads("in words")), rows, named=3, note=note
    ).without_empty_columns()


def predicted_paragraphs(run_record: RunRecord) -> Iterator[str]:
    """Where the predictions come from, what makes them no test, and what was not predicted."""
    events = list(_held(run_record))
    amplifier = run_record.amplifier
    if not events or amplifier is None or amplifier.fitted is None:
        return
    fitted = amplifier.fitted
    of_run = "the dry run, which was no measurement," if fitted.simulated else "the run"
    yield f"Predicted from the fit to {of_run} {fitted.run} of {fitted.date}, as the amplifier file has it."
    if fitted.run == run_record.name:
        yield "That is this very run. That it agrees with itself is no test."
    if run_record.is_dry and (drawn := _drawn_from(amplifier)):
        yield (f"This dry run took {drawn} from the same fit. That these agree tests the program, not an amplifier.")
    for reason in dict.fromkeys(reason for event in events for reason in event.get("not_predicted", ())):
        yield f"Not predicted: {reason}."


def departures(run_record: RunRecord) -> tuple[str, ...]:
    """What was told while the run went on: the step, and the sentence."""
    return tuple(f"{event.get('step', '')}: {text}" for event in _held(run_record) for text in event.get("told", ()))


def _held(run_record: RunRecord) -> Iterator[Mapping[str, Any]]:
    return (event for event in results_of(run_record.events) if event["event"] == HELD_AGAINST_FIT)


def _drawn_from(amplifier: Amplifier) -> str:
    """How many of its numbers the simulated amplifier has from the fit."""
    fitted = amplifier.fitted
    count = 0 if fitted is None else len(fitted.fills(amplifier.simulation, amplifier.supply.nominal_v))
    return "" if not count else f"{count} number{'s' if count > 1 else ''} of its amplifier"


def _row(event: Mapping[str, Any], row: Mapping[str, Any]) -> tuple[Cell, ...]:
    measured, predicted = (
        Figure(
            row["name"], row[of], row["unit"], row[f"{of}_u"], COVERAGE_FACTOR, row["channel"], row["cycles"] or None
        )
        for of in ("measured", "predicted")
    )
    off, explained = row["measured"] - row["predicted"], row["measured_u"] + row["predicted_u"]
    load_ohm = event.get("conditions", {}).get("load_ohm")
    agrees = abs(off) <= explained
    return (
        Cell(str(event.get("step", ""))),
        Cell("" if load_ohm is None else setting(load_ohm, "ohm")),
        Cell(with_channel(measured)),
        *(Cell(with_uncertainty(each), "number", repr(each.value)) for each in (predicted, measured)),
        Cell(_by(off, row), "number", repr(off)),
        Cell(_by(explained, row), "number", repr(explained)),
        Cell(AGREES if agrees else DIFFERS, "passes" if agrees else "untold"),
    )


def _by(amount: float, row: Mapping[str, Any]) -> str:
    """A difference in the unit of the figure; of a gain in decibels."""
    if row["name"] == "gain" and amount > -row["predicted"]:
        return f"{20.0 * math.log10(1.0 + amount / row['predicted']):.2g} dB"
    return shown(amount, row["unit"], digits=2)
