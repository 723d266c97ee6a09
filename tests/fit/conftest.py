"""One dry run of a sound amplifier, and what its fit finds: made once for all tests of a worker."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.fit.examination import Examination, examine
from tests.shared_runs import SharedRuns


@pytest.fixture(scope="session")
def folder(shared_runs: SharedRuns) -> Path:
    return shared_runs.of("burst_and_continuous", "hx2150").folder


@pytest.fixture(scope="session")
def found(folder: Path) -> Examination:
    return examine(folder)
