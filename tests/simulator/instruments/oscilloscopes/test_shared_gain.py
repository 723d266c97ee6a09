"""Errors of gain that an oscilloscope's inputs have in common."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from benchctl.documents.bench_file.imperfections import Imperfections, OscilloscopeImperfections
from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.oscilloscopes.recording.inputs import Inputs
from tests.simulator.benches import describe


def gains(shared: float) -> NDArray[np.float64]:
    """Of two inputs, on 120 benches; shape (2, 120)."""
    found = []
    for seed in range(120):
        imperfections = Imperfections(oscilloscope=OscilloscopeImperfections(shared_gain=shared))
        description = describe(bench=BenchSimulation(seed=seed, imperfections=imperfections))
        assert description.oscilloscope is not None
        inputs = Inputs(PhysicalBench(description), description.oscilloscope)
        found.append([inputs.digitiser(number).error.gain for number in (1, 2)])
    return np.array(found).T


@pytest.mark.parametrize("shared", [0.0, 0.5, 1.0])
def test_the_gains_of_two_inputs_are_correlated_by_what_they_share_and_spread_alike(shared: float) -> None:
    """Each has the common error with probability sqrt(s), so both have it with s, which is their correlation; the
    variance is that of a limit of error, a^2 / 3, and no error lies beyond its limit."""
    one, other = gains(shared)
    assert np.corrcoef(one, other)[0, 1] == pytest.approx(shared, abs=0.2)
    assert np.abs([one, other]).max() <= 0.005
    assert float(one.std()) == pytest.approx(0.005 / np.sqrt(3.0), rel=0.15)
