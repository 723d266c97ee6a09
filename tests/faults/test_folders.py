"""The short form of `python -m benchmarks.folder_fuzz`: some run folders with one thing changed."""

from __future__ import annotations

from pathlib import Path
from random import Random

import pytest

from benchmarks.folder_fuzz.folders import Folders, make_folders
from benchmarks.folder_fuzz.mutations import delete_line, swap_captures
from benchmarks.folder_fuzz.trial import trial

CHANGES_A_TEST = 5


@pytest.fixture(scope="module")
def folders(tmp_path_factory: pytest.TempPathFactory) -> Folders:
    return make_folders(tmp_path_factory.mktemp("runs"))


@pytest.mark.parametrize("first", range(0, 15, CHANGES_A_TEST))
def test_a_change_is_noticed_or_does_no_harm(folders: Folders, tmp_path: Path, first: int) -> None:
    """And no reader of the folder gives a traceback or hangs."""
    seeds = range(first, first + CHANGES_A_TEST)
    done = [trial(seed, folders.all()[seed % 3], tmp_path) for seed in seeds]
    assert {each.seed: (each.change, each.violations) for each in done if each.violations} == {}
    assert any(each.outcome == "noticed" for each in done)


def test_folders_without_a_change_are_as_the_runs_left_them(folders: Folders, tmp_path: Path) -> None:
    """So anything that is noticed elsewhere is caused by a change."""
    for folder in folders.all():
        done = trial(0, folder, tmp_path, change=lambda *_: ("nothing", False))
        assert (done.noticed_by, done.violations) == ([], [])


def test_the_campaign_knows_harm_that_nobody_noticed(
    folders: Folders, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If verify, report and resume noticed nothing, the campaign would say so."""
    monkeypatch.setattr("benchmarks.folder_fuzz.trial._READERS", {})

    def take_a_line(folder: Path, random: Random) -> tuple[str, bool]:
        return delete_line(folder / "inputs" / "bench.yaml", random), False

    done = trial(0, folders.finished, tmp_path, change=take_a_line)
    assert done.violations == ["inputs/bench.yaml is not the same, and nobody noticed"]


def test_a_capture_in_the_place_of_another_is_noticed_by_all_who_look_at_captures(
    folders: Folders, tmp_path: Path
) -> None:
    def swap(folder: Path, random: Random) -> tuple[str, bool]:
        return swap_captures(min((folder / "captures").iterdir()), random), False

    assert trial(0, folders.finished, tmp_path, change=swap).noticed_by == ["verify", "report"]
