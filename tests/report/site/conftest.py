"""A few short runs to publish, of which no page has more pictures than it must."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.measured_runs import cut_off, measured, tripped
from tests.shared_runs import SharedRuns

OWNER = "unit: {owner: M. Lindqvist, contact: lindqvist@ferry.example, complaint: Cuts out when warm}"


@pytest.fixture(scope="session")
def original(shared_runs: SharedRuns) -> Path:
    return shared_runs.of("quick_check", "hx2150").folder


@pytest.fixture
def runs(original: Path, tmp_path: Path) -> Path:
    """Two runs of one unit, the newer stopped by a limit; one of another amplifier with the same serial number."""
    folder = tmp_path / "runs"
    made = [
        measured(original, folder, "20260301-091500", more=OWNER, edit=cut_off(1)),
        measured(original, folder, "20260402-100000", more=OWNER, edit=tripped(1)),
        measured(original, folder, "20260403-100000", title="LW 1200", edit=cut_off(1)),
    ]
    for run in made:
        (run / "trend.csv").unlink()  # whose picture would take most of the time
    return folder
