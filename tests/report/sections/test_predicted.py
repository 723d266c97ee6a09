"""The page shows predicted beside measured as the journal has it, and says what makes it no test."""

from __future__ import annotations

from pathlib import Path

from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.sections.page_head import boxes_of
from benchctl.report.sections.predicted import AGREES, DIFFERS, departures, predicted_paragraphs, predicted_table
from tests.report.conftest import rewrite

FITTED = """
fitted:
  run: {run}
  date: 2026-11-24
  headroom: {{value: 39.4 V, uncertainty: 0.3 V}}
"""
ROW = {"name": "continuous_power", "channel": "A", "cycles": 0, "unit": "W", "measured": 159.5, "measured_u": 2.5}


def held(predicted: float, **row: object) -> dict[str, object]:
    return ROW | {"predicted": predicted, "predicted_u": 3.0} | row


def with_fit(folder: Path, run: str) -> Path:
    text = (folder / "inputs" / "amplifier.yaml").read_text("utf-8")
    (folder / "inputs" / "amplifier.yaml").write_text(text + FITTED.format(run=run), encoding="utf-8")
    event = {
        "event": "held against the fit",
        "step": "7 measure_continuous",
        "conditions": {"load_ohm": 4.0},
        "rows": [held(164.0), held(166.0), held(30.0, name="gain", unit="1", measured=28.0, measured_u=0.1)],
        "not_predicted": ["the fit does not tell the reservoir"],
        "told": ["not as fitted in run a: continuous power, A"],
    }
    return rewrite(folder, lambda events: [*events[:-1], events[-2] | event, events[-1]])


def test_a_row_says_no_more_than_what_both_uncertainties_let_it(folder: Path) -> None:
    """4.5 W lie within 2.5 W and 3 W together; 6.5 W do not; 28 over 30 is -0.6 dB (20 lg)."""
    record = read_run_record(with_fit(folder, "20261124-221003-another-run"))
    table = predicted_table(record)
    assert table is not None
    assert [row[-1].text for row in table.rows] == [AGREES, DIFFERS, AGREES]
    assert [row[-3].text for row in table.rows] == ["-4.5 W", "-6.5 W", "-0.6 dB"]
    paragraphs = list(predicted_paragraphs(record))
    assert "another-run of 2026-11-24" in paragraphs[0]
    assert paragraphs[-1] == "Not predicted: the fit does not tell the reservoir."
    assert departures(record) == ("7 measure_continuous: not as fitted in run a: continuous power, A",)
    titles = [box.title for box in boxes_of(record, run_outcome_of(record), [])]
    assert "Not as an earlier run of this unit lets expect" in titles


def test_of_the_very_run_that_was_fitted_and_of_a_dry_run_of_the_fit_it_says_that_it_is_no_test(folder: Path) -> None:
    amplifier = folder / "inputs" / "amplifier.yaml"
    text = amplifier.read_text("utf-8")
    amplifier.write_text(text.replace("  rail: 41 V ", "  # rail: 41 V "), encoding="utf-8")
    said = " ".join(predicted_paragraphs(read_run_record(with_fit(folder, folder.name))))
    assert "very run" in said
    assert "no test" in said
    assert "This dry run took 1 number of its amplifier from the same fit" in said
