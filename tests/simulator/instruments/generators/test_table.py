"""The sine that a table of samples holds."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.scpi.errors import ScpiError
from benchctl.simulator.instruments.generators.table import Table


def sine_table(points: int, cycles_in_all: float, burst_cycles: int, low: float, digits: int = 9) -> Table:
    """`burst_cycles` at full scale, then the rest at `low`, one sine all through."""
    at = np.arange(points) * cycles_in_all / points
    return Table.of(np.round(np.where(at < burst_cycles, 1.0, low) * np.sin(2 * np.pi * at), digits))


@pytest.mark.parametrize("points", [2500, 4096, 16_384])
@pytest.mark.parametrize("cycles_in_all", [500.0, 498.5, 333.3])
@pytest.mark.parametrize(("burst_cycles", "low"), [(8, 0.1), (1, 0.1), (20, 0.01), (1, 0.0), (20, 0.0)])
def test_its_cycles_and_levels_are_found(points: int, cycles_in_all: float, burst_cycles: int, low: float) -> None:
    table = sine_table(points, cycles_in_all, burst_cycles, low)
    assert table.points / table.cycle_points == pytest.approx(cycles_in_all, rel=1e-6)
    burst, rest = table.stretches
    assert burst.level == pytest.approx(1.0, rel=1e-4)
    assert burst.points == pytest.approx(burst_cycles * table.cycle_points, rel=1e-9)
    assert rest.level == pytest.approx(low, rel=1e-3, abs=1e-6)
    assert burst.points + rest.points == pytest.approx(points)


def test_rounding_of_its_text_makes_no_new_level() -> None:
    table = sine_table(16_384, 500.0, 8, 0.1, digits=3)
    assert len(table.stretches) == 2
    assert table.stretches[1].level == pytest.approx(0.1, rel=0.01)


def test_a_table_of_zeros_is_silence() -> None:
    assert [stretch.level for stretch in Table.of(np.zeros(100)).stretches] == [0.0]


def test_a_steady_sine_is_one_stretch() -> None:
    assert len(sine_table(1000, 10.0, 10, 0.0).stretches) == 1


TURNS = np.arange(1000) / 1000
TABLES = {
    "a sine that begins at its top": np.cos(2 * np.pi * 10 * TURNS),
    "a sine that begins downwards": -np.sin(2 * np.pi * 10 * TURNS),
    "two tones": 0.8 * np.sin(2 * np.pi * 3 * TURNS) + 0.2 * np.sin(2 * np.pi * 70 * TURNS),
    "a square wave": np.where(TURNS < 0.5, 1.0, -1.0),
    "a dc voltage": np.full(1000, 0.5),
    "one pulse": np.where(TURNS < 0.01, 1.0, 0.0),
    "noise": np.random.default_rng(7).uniform(-1, 1, 1000),
}


@pytest.mark.parametrize("samples", TABLES.values(), ids=TABLES)
def test_what_is_no_sine_from_zero_is_played_point_by_point(samples: np.ndarray) -> None:
    wave = Table.of(samples).wave
    assert wave is not None
    assert wave.at(TURNS) == pytest.approx(samples, abs=1e-4)


@pytest.mark.parametrize(("samples", "error"), [(np.zeros(7), -226), (np.zeros(65_537), -223), (np.full(9, 1.1), -222)])
def test_a_table_that_the_memory_cannot_hold_is_refused(samples: np.ndarray, error: int) -> None:
    with pytest.raises(ScpiError) as refused:
        Table.of(samples)
    assert refused.value.code == error
