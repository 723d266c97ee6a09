"""The YAML that ships is found by name from any folder; a file of the user's own comes first."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl import library
from benchctl.errors import UsageError


def test_everything_the_program_relies_on_ships() -> None:
    assert {"quick_check", "burst_and_continuous"} <= set(library.shipped("sequences"))
    assert "workshop" in library.shipped("benches")
    assert "hx2150" in library.shipped("amplifiers")
    assert {"supply/scpi99", "load/relay_bank", "oscilloscope/preamble_list"} <= set(library.shipped("drivers"))


def test_amplifier_files_are_not_taken_for_bench_files() -> None:
    assert not any("hx2150" in name for name in library.shipped("benches"))


@pytest.mark.parametrize(
    ("shelf", "reference"),
    [
        ("sequences", "quick_check"),
        ("sequences", "quick_check.yaml"),
        ("sequences", "sequences/quick_check.yaml"),
        ("sequences", "./sequences/quick_check.yaml"),
        ("benches", "workshop"),
        ("benches", "sim/workshop.yaml"),
        ("amplifiers", "hx2150"),
        ("amplifiers", "sim/amplifiers/hx2150.yaml"),
        ("drivers", "supply/scpi99"),
        ("drivers", "drivers/supply/scpi99.yaml"),
        ("drivers", r"supply\scpi99"),
    ],
)
def test_a_shipped_name_is_found_from_another_folder(
    shelf: library.Shelf, reference: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    assert library.find(shelf, reference).is_file()


def test_a_file_beside_the_referring_one_comes_first(tmp_path: Path) -> None:
    own = tmp_path / "mine.yaml"
    own.write_text("")
    assert library.find("drivers", "./mine.yaml", tmp_path) == tmp_path / "./mine.yaml"


def test_an_unknown_name_is_answered_with_the_nearest_ones() -> None:
    with pytest.raises(UsageError, match="quick_check"):
        library.find("sequences", "quick_chek")


@pytest.mark.parametrize("reference", ["", ".", "..", "../../pyproject", "a\0b", "x" * 10_000, "/nowhere/at/all.yaml"])
def test_no_reference_reaches_outside_or_ends_in_another_error(
    reference: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UsageError):
        library.find("drivers", reference)
