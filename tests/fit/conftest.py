"""One dry run of a sound amplifier, and what its fit finds: made once in a session of the tests."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.fit.examination import Examination, examine
from tests.shared_runs import SharedRuns, made_once


@pytest.fixture(scope="session")
def folder(shared_runs: SharedRuns) -> Path:
    return shared_runs.of("burst_and_continuous", "hx2150").folder


@pytest.fixture(scope="session")
def found(folder: Path) -> Examination:
    beside = folder.parents[1] / "fit"  # the folder of its runs
    return made_once(beside / "examination", Examination, lambda: examine(folder))
