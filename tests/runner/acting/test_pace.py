"""Readings that are taken at a pace: how long that lasts does not depend on how soon an instrument answers."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.runner.rig import Rig, rig


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    with rig(tmp_path) as made:
        yield made


def times_s(bench: Rig, every_s: float, for_s: float, answer_s: float) -> list[float]:
    """When it is time for each reading, and when all are over."""
    found = []
    for _ in bench.run.paced(every_s, for_s):
        found.append(bench.clock.now())
        bench.clock.sleep(answer_s)
    return [*found, bench.clock.now()]


def test_answers_that_come_at_once_are_asked_for_at_even_distances(bench: Rig) -> None:
    assert times_s(bench, 0.25, 1.0, 0.0) == pytest.approx([0.25, 0.5, 0.75, 1.0, 1.0])


def test_slow_answers_make_readings_fewer_and_not_the_time_longer(bench: Rig) -> None:
    assert times_s(bench, 0.25, 2.0, 0.3) == pytest.approx([0.25, 0.75, 1.25, 1.75, 2.05])


def test_there_is_one_reading_at_least(bench: Rig) -> None:
    assert times_s(bench, 0.25, 0.1, 5.0) == pytest.approx([0.25, 5.25])
