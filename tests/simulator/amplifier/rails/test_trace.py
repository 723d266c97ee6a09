"""What is noticed along a trace of the rails."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from benchctl.simulator.amplifier.circuit import Circuit
from benchctl.simulator.amplifier.converter import OFF, Converter
from benchctl.simulator.amplifier.rails.means import Seen, Values
from benchctl.simulator.amplifier.rails.trace import Trace, TracedStep

STEP_S = 1e-3
RISING_A = np.arange(11.0)
"""Up to 10 A in 10 ms."""
HELD_V = np.full((1, 11), 40.0)

IDLE = Circuit(OFF, Converter(0.0, 0.1, 1.0, 0.0), (), 0.01, 0.0, 0.0, 1.0, 1e3)


def above(level_a: float) -> Seen:
    def seen(terminal_v: Values, supply_a: Values, rail_v: Values) -> int | NDArray[np.int64]:
        return np.asarray(np.asarray(supply_a) > level_a, dtype=np.int64)

    return seen


@pytest.mark.parametrize(
    ("level_a", "from_s", "noticed_s"),
    [(5.5, 0.0, 6e-3), (5.5, 4e-3, 2e-3), (5.5, 7e-3, None), (11.0, 0.0, None), (-1.0, 0.0, None)],
)
def test_a_level_that_is_passed_on_the_way_is_noticed_at_the_next_point(
    level_a: float, from_s: float, noticed_s: float | None
) -> None:
    trace = Trace(STEP_S, HELD_V, HELD_V, HELD_V[0], RISING_A, np.zeros((1, 11)))
    step = TracedStep(0.0, trace.seconds - from_s, trace, from_s, repeats=False, circuit=IDLE)
    assert step.departs_s(above(level_a)) == (None if noticed_s is None else pytest.approx(noticed_s))
