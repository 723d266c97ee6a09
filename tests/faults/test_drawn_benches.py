"""The short form of `python -m benchmarks.benches`: a few benches and amplifiers drawn at random."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchmarks.benches.drawing import draw
from benchmarks.benches.trial import trial


@pytest.mark.parametrize("seed", [15, 29])
def test_no_verdict_contradicts_the_truth_and_nothing_healthy_is_stopped(tmp_path: Path, seed: int) -> None:
    """Seed 15 is a bench of 8 bits and 4.7 % without a thermometer, with loads by hand."""
    done = trial(seed, tmp_path)
    assert done.violations == ()
    assert done.verdicts


def test_a_refusal_states_a_reason_that_holds(tmp_path: Path) -> None:
    """Two channels of 100 W on a supply of 20 A."""
    done = trial(16, tmp_path)
    assert done.exit_code == 3
    assert done.refused
    assert done.violations == ()


def test_the_same_seed_draws_the_same_bench() -> None:
    assert draw(7) == draw(7)
    assert draw(7).bench != draw(8).bench
