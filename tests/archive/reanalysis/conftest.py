"""A collection of small runs, and their reanalysis by this process."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.archive.reanalysis.kept import Kept
from benchctl.archive.reanalysis.reanalyse import Done, collection_of, reanalyse
from benchctl.clock import VirtualClock
from benchctl.measure.signal.record import Capture
from benchctl.spread.here import Here
from benchctl.spread.spread import Spread
from tests.archive.made_runs import measure_tone

Reanalyse = Callable[..., Done]


@pytest.fixture
def runs(tmp_path: Path, clock: VirtualClock, tone: Capture) -> Path:
    """A folder of three runs, a, b and c."""
    root = tmp_path / "collection"
    first = measure_tone(RunFolder.create(root, "a", "b", clock), clock, tone)
    first.rename(root / "a")
    for name in "bc":
        shutil.copytree(root / "a", root / name)
    return root


@pytest.fixture
def results(tmp_path: Path) -> Path:
    """Where results are kept."""
    return tmp_path / "results"


@pytest.fixture
def again(runs: Path, results: Path) -> Reanalyse:
    """Computes the collection again, or some of its runs; `spread` does the work."""

    def compute(*names: str, spread: Spread | None = None) -> Done:
        collection = collection_of([runs / name for name in names] or [runs])
        return reanalyse(collection, Kept(results, runs), spread or Here(1), lambda _: None)

    return compute
