"""The earlier run of a unit, by a word."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.archive.collection.indexed.index import collection_of
from benchctl.archive.collection.naming import run_before
from benchctl.archive.collection.summary import RunSummary
from benchctl.errors import UsageError


@pytest.fixture(scope="module")
def of_a_unit(ferry_workshop: Path) -> list[RunSummary]:
    """All runs of a unit that was measured more than once by one sequence, the oldest first."""
    by_unit: dict[tuple[str, str, bool | None], list[RunSummary]] = {}
    for run in collection_of(ferry_workshop).runs:
        if run.serial and run.began is not None:
            by_unit.setdefault((run.serial, run.sequence, run.is_simulated), []).append(run)
    return max(by_unit.values(), key=len)


def test_latest_and_the_serial_mean_the_units_newest_run_before_this_one(
    ferry_workshop: Path, of_a_unit: list[RunSummary]
) -> None:
    before, newest = sorted(of_a_unit, key=lambda run: str(run.began))[-2:]
    for word in ("latest", newest.serial.lower()):
        assert run_before(word, newest.folder, ferry_workshop).run.folder == before.folder


def test_there_is_none_before_the_first_one_and_another_units_serial_is_refused(
    ferry_workshop: Path, of_a_unit: list[RunSummary]
) -> None:
    first = min(of_a_unit, key=lambda run: str(run.began))
    with pytest.raises(UsageError, match=f"no run by '{first.sequence}' of serial {first.serial} in .* is earlier"):
        run_before("latest", first.folder, ferry_workshop)
    with pytest.raises(UsageError, match=f"nor the serial number of {first.name}, which is {first.serial}"):
        run_before("another", first.folder, ferry_workshop)
