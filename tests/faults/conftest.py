"""The runs that most tests of an end begin with: one in virtual time, and one of a process of its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.holding import DRIVEN, IDLE, LONG_HOLD
from tests.faults.killing import HOLDING, LiveRun, ServedBench, live_run, quick_amplifier, served_bench
from tests.runner.rig import POWER_ON_LINE, Rig, files, rig


@pytest.fixture
def held(tmp_path: Path) -> Iterator[Rig]:
    """Idle is measured, then the amplifier is driven for two hours."""
    with rig(tmp_path, files(POWER_ON_LINE, IDLE, DRIVEN, LONG_HOLD, "power_off")) as bench:
        yield bench


@pytest.fixture(scope="module")
def amplifier(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return quick_amplifier(tmp_path_factory.mktemp("amplifier"))


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory, amplifier: Path) -> Iterator[ServedBench]:
    """A bench that is served while the tests of this file run."""
    with served_bench(tmp_path_factory.mktemp("bench"), amplifier) as served:
        yield served


@pytest.fixture
def holding(bench: ServedBench, amplifier: Path, tmp_path: Path) -> Iterator[LiveRun]:
    """A run that drives its amplifier and goes on doing so."""
    sequence = tmp_path / "holding.yaml"
    sequence.write_text(HOLDING)
    with live_run(sequence, bench.file, amplifier, tmp_path / "runs") as run:
        run.wait_for_event("step started", step="3 hold")
        assert bench.eyes.on() == {"generator", "turn-on lead", "supply", "load"}
        yield run
