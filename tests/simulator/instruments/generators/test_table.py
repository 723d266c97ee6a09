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


@pytest.mark.parametrize("shift", [0.25, 0.5])
def test_a_sine_that_does_not_begin_upwards_at_zero_is_refused(shift: float) -> None:
    with pytest.raises(ScpiError, match="begins at zero"):
        Table.of(np.sin(2 * np.pi * (np.arange(1000) / 100 + shift)))
