"""Pages show a diagnosis that was kept beside the run folder, and never fit anything themselves."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Any

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.fit.diagnosis.kept import keep_diagnosis, kept_diagnosis
from benchctl.report.comparison.compared import compare
from benchctl.report.comparison_page import comparison_page
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.sections.diagnosis import diagnosis_sentence
from benchctl.report.sheet.writing import sheet_page
from tests.report.pages import Page

NO_PICTURES = Gallery((), ())
AGED = "reservoir: 17 ± 2 mF, 30 ± 3 mF before"
TOLD: dict[str, Any] = {"first_sentence": AGED, "named": [{"sentence": AGED}]}


@pytest.fixture
def folder(whole: Path, tmp_path: Path) -> RunFolder:
    return RunFolder.open(shutil.copytree(whole, tmp_path / whole.name))


def test_without_a_kept_diagnosis_nothing_is_said(folder: RunFolder) -> None:
    assert kept_diagnosis(folder) is None
    assert "Diagnosis" not in sheet_page(read_run_record(folder.path), NO_PICTURES, "a4")


def test_sheet_and_comparison_show_its_first_sentence(folder: RunFolder) -> None:
    keep_diagnosis(folder, "20251102-101500-before-and-after-hx-2150", TOLD)
    record = read_run_record(folder.path)
    said = "Reservoir: 17 ± 2 mF, 30 ± 3 mF before. Held against the run 20251102-101500-before-and-after-hx-2150."
    assert said in Page.of(sheet_page(record, NO_PICTURES, "a4")).text
    assert said in Page.of(comparison_page(compare([record, record]), NO_PICTURES)).text


def test_of_many_causes_the_strongest_three_are_shown_and_the_rest_counted(folder: RunFolder) -> None:
    causes = [{"sentence": sentence} for sentence in (AGED, "idle current is 6 A", "gain is low", "dc", "a joint")]
    keep_diagnosis(folder, "", TOLD | {"named": causes})
    said = "Reservoir: 17 ± 2 mF, 30 ± 3 mF before. Idle current is 6 A. Gain is low. And 2 more."
    assert diagnosis_sentence(read_run_record(folder.path)) == said


def test_it_lies_beside_the_run_folder_and_leaves_that_as_it_was(folder: RunFolder) -> None:
    before = sorted(path.name for path in folder.path.rglob("*"))
    path = keep_diagnosis(folder, "", TOLD)
    assert path.parent == folder.path.parent
    assert sorted(each.name for each in folder.path.rglob("*")) == before


def test_one_of_another_run_or_a_damaged_one_is_not_shown_and_says_so(folder: RunFolder) -> None:
    path = keep_diagnosis(folder, "", TOLD)
    path.write_text(path.read_text().replace('"first_line": "', '"first_line": "f'))
    kept = kept_diagnosis(folder)
    assert kept is not None
    assert "of another run" in kept.first_sentence
    path.write_text("{")
    damaged = kept_diagnosis(folder)
    assert damaged is not None
    assert "damaged" in damaged.first_sentence
    assert AGED not in damaged.first_sentence
