"""The model's numbers from those that are fitted."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.fit.model.assembled import assembled, told_of_converter
from benchctl.fit.model.physics import Kind
from benchctl.fit.plausible import usual
from benchctl.fit.prediction.drives import steady_at

NOMINAL_V = 14.4


def drawn_a(kind: Kind, saturation_v: float, loss: float) -> float:
    """From the supply under a tone of 10 V into 4 ohm, far below clipping."""
    numbers = {name: each.centre for name, each in usual(kind).items()}
    numbers |= {"headroom_v": 30.0, "saturation_v": saturation_v, told_of_converter(kind): loss, "path_ohm": 1e-6}
    numbers |= {"stiffness_ohm": 0.05, "reservoir_f": 0.04, "idle_a": 1e-3, "bias part": 1.0, "lost at edges": 0.0}
    one = np.ones((1, 1))
    of = assembled(
        lambda name: np.full(1, numbers[name]),
        kind,
        NOMINAL_V,
        supply_v=np.full(1, NOMINAL_V),
        load_ohm=4.0 * one,
        peak_v=10.0 * np.sqrt(2.0) * one,
        dc_v=0.0 * one,
        phase=0.0 * one,
        angular_hz=np.full(1, 2e3 * np.pi),
    )
    return float(steady_at(of, kind, np.ones(1)).supply_a[0])


@pytest.mark.parametrize("kind", [Kind(switching=True), Kind()])
def test_what_one_supply_voltage_does_not_tell_of_a_rail_hardly_changes_what_is_drawn(kind: Kind) -> None:
    """So the fit need not trade one against the other. Class D draws its power over the efficiency, and class AB its
    current times n/eta, whatever the outputs leave of the rail."""
    loss = 0.9 if kind.switching else 2.5
    known, other = drawn_a(kind, 1.5, loss), drawn_a(kind, 3.0, loss)
    assert other == pytest.approx(known, rel=2e-3)
    if kind.switching:
        assert known == pytest.approx(25.0 / 0.9 / NOMINAL_V, rel=0.02)
