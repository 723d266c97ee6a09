"""The page says of each resistor and probe where its values come from."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from benchctl.documents.reader import load_bench
from benchctl.report.reading.run_record import RunRecord, read_run_record
from benchctl.report.sections.equipment import equipment_tables
from tests.documents.test_calibrating import CALIBRATION


@pytest.fixture
def run_record(whole: Path) -> RunRecord:
    return read_run_record(whole)


def test_a_value_of_a_calibration_file_stands_with_file_and_date_and_is_marked_when_due(
    run_record: RunRecord, tmp_path: Path
) -> None:
    text = load_bench("workshop").source.text
    (tmp_path / "own.yaml").write_text(CALIBRATION.replace("due: 2027-11-26", "due: 2020-01-01"), encoding="utf-8")
    (tmp_path / "bench.yaml").write_text(text.replace("\ninstruments:", "\ncalibration: own.yaml\ninstruments:", 1))
    _, probes, resistors = equipment_tables(replace(run_record, bench=load_bench(tmp_path / "bench.yaml")))
    told = {row[0].text: row[-1] for table in (probes, resistors) for row in table.rows}
    overdue = "own.yaml, 2026-11-26; was due on 2020-01-01"
    assert (told["4 ohm, channel A"].text, told["4 ohm, channel A"].look) == (overdue, "untold")
    assert told["supply voltage"].text == overdue
    assert told["output B"].text == ""
