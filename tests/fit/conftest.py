"""One dry run of a sound amplifier, and what its fit finds: made once in a session of the tests."""

from __future__ import annotations

import pickle
from pathlib import Path

import pytest

from benchctl.fit.examination import Examination, examine
from tests.shared_runs import SharedRuns, alone_in


@pytest.fixture(scope="session")
def folder(shared_runs: SharedRuns) -> Path:
    return shared_runs.of("burst_and_continuous", "hx2150").folder


@pytest.fixture(scope="session")
def found(folder: Path) -> Examination:
    place = folder.parents[1] / "fit"  # beside the folder of its runs
    place.mkdir(exist_ok=True)
    kept = place / "examination"
    with alone_in(place):
        if not kept.exists():
            kept.write_bytes(pickle.dumps(examine(folder)))
    examination = pickle.loads(kept.read_bytes())
    assert isinstance(examination, Examination)
    return examination
