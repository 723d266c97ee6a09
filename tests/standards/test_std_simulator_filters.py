"""The simulated filters against the slopes of Butterworth filters."""

from __future__ import annotations

import math
from typing import Literal

import pytest

from benchctl.documents.amplifier_file.filters import CrossoverFilter
from benchctl.simulator.amplifier.filters import filter_of

# Attenuation in dB by octaves from the corner into the stop band (negative: into the pass band), 10·lg(1 + r^2n);
# textbook formula, checked with scipy.signal.
BUTTERWORTH: dict[Literal["12 dB/octave", "24 dB/octave"], dict[float, float]] = {
    "12 dB/octave": {-2: 0.0169, -1: 0.2633, 0: 3.0103, 1: 12.3045, 2: 24.0993, 3: 36.1247, math.log2(10): 40.0004},
    "24 dB/octave": {-2: 0.0001, -1: 0.0169, 0: 3.0103, 1: 24.0993, 2: 48.1649, 3: 72.2472, math.log2(10): 80.0000},
}
CASES = [(slope, octaves, loss) for slope, losses in BUTTERWORTH.items() for octaves, loss in losses.items()]


@pytest.mark.parametrize("kind", ["low-pass", "high-pass"])
@pytest.mark.parametrize(("slope", "octaves", "loss_db"), CASES)
def test_a_filter_attenuates_as_the_table_says(
    kind: Literal["low-pass", "high-pass"],
    slope: Literal["12 dB/octave", "24 dB/octave"],
    octaves: float,
    loss_db: float,
) -> None:
    band = filter_of([CrossoverFilter(kind=kind, corner_hz=80.0, slope=slope)], "A")
    assert band is not None
    sign = 1 if kind == "low-pass" else -1
    response = band.response(80.0 * 2 ** (sign * octaves))
    assert -20 * math.log10(abs(response)) == pytest.approx(loss_db, abs=6e-5)
