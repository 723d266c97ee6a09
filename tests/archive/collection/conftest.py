"""A small workshop: a few dozen run folders made from one dry run, with damaged and foreign ones among them."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.collection import workshop
from tests.shared_runs import SharedRuns

RUNS = 36


@pytest.fixture(scope="session")
def ferry_workshop(shared_runs: SharedRuns, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Nobody changes it."""
    root = tmp_path_factory.mktemp("ferry") / "runs"
    made = list(workshop.fill(root, [workshop.pattern_of(shared_runs.of("quick_check", "hx2150").folder)], RUNS))
    assert len(made) == RUNS
    (root / "half written" / "inputs").mkdir(parents=True)
    (root / "half written" / "captures").mkdir()
    (root / "photographs").mkdir()
    (root / "damaged").mkdir()
    (root / "damaged" / "journal.jsonl").write_bytes(bytes(range(256)))
    return root
