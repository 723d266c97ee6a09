"""Figures of a class D amplifier are those of what is heard; its carrier is a figure of its own.

The HX 2150 with class D stages, whose carrier leaves 400 mV at the outputs, on the workshop's bench.
"""

from __future__ import annotations

import math

import pytest

from tests.runner.measured import Measured, measured
from tests.runner.rig import Edits

# Twice 200 kSa/s, the rate of a whole repetition of bursts, but for 400 Hz.
CARRIER_HZ = 400.4e3
CLASS_D: Edits = {
    "class: AB": "class: D",
    "simulation:\n": "simulation:\n  ripple: 400 mV\n  carrier: 400.4 kHz\n  conduction: 30 mohm\n  switching: 3 W\n",
}
SMALL_MEMORY: Edits = {"memory: 1000000": "memory: 16000"}
LOADED = "set: {load: 4 ohm, frequency: 1 kHz}"
SEARCH = "find_clean_level: {thd_n: 1 %, from: 400 mV, to: 2 V}"
CONTINUOUS = "measure_continuous: {for: 1 s}"


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    folder = tmp_path_factory.mktemp("class_d")
    burst = "measure_burst: {cycles: [8], every: 250 ms, thd_n: 1 %, from: 400 mV, to: 2 V}"
    return measured(folder, SEARCH, CONTINUOUS, burst, amplifier=CLASS_D)


@pytest.fixture(scope="module")
def coarse(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    """16,000 samples: 400 kSa/s for 40 cycles of 1 kHz, so that the carrier is seen at 400 Hz."""
    return measured(tmp_path_factory.mktemp("coarse"), SEARCH, CONTINUOUS, bench=SMALL_MEMORY, amplifier=CLASS_D)


def values(run: Measured, name: str) -> list[float]:
    return [figure.value for figure in run.figures(name)]


def test_the_residue_of_the_carrier_is_a_figure_with_its_frequency(run: Measured) -> None:
    assert values(run, "carrier_residue") == pytest.approx([0.4, 0.4], rel=0.02)
    assert values(run, "carrier_frequency") == pytest.approx([CARRIER_HZ, CARRIER_HZ], abs=30.0)


def test_a_carrier_near_a_multiple_of_a_records_rate_is_no_distortion(run: Measured) -> None:
    """Folded into the band it would be 400 mV of 25 V, 1.6 % beside the clean 1 %."""
    assert values(run, "thd_n") == pytest.approx([0.01] * 4, rel=0.1)
    assert {figure.bound for figure in run.figures("thd_n")} == {""}


def test_the_crest_factor_is_that_of_the_clipped_tone_without_its_ripple(run: Measured) -> None:
    """At 1 %: sqrt(2 / 1.0475) = 1.3817 (closed form of a clipped sine); 0.57 V of ripple on 35 V would add 1.6 %."""
    assert values(run, "crest_factor") == pytest.approx([1.3817, 1.3817], rel=0.004)


def test_the_peak_of_a_burst_is_that_of_the_signal(run: Measured) -> None:
    """At full drive the first cycle is clipped to 1 %: its power is 1.0475 / 2 of the squared peak over the load.

    The rails sink a little within the cycle; 0.57 V of ripple would add 1.5 %.
    """
    for peak in run.figures("output_peak")[2:]:
        (first,) = [f for f in run.figures("burst_power_first") if f.channel == peak.channel]
        load_ohm = {"A": 4.013, "B": 3.991}[peak.channel]
        assert peak.value == pytest.approx(math.sqrt(first.value * load_ohm * 2.0 / 1.0475), rel=0.01)


def test_what_a_class_d_run_computes_is_verified(run: Measured) -> None:
    assert run.verification.agrees


def test_a_small_memory_is_helped_by_a_record_at_another_rate(coarse: Measured) -> None:
    assert values(coarse, "thd_n") == pytest.approx([0.01, 0.01], rel=0.1)
    assert {figure.bound for figure in coarse.figures("thd_n")} == {""}
    assert coarse.verification.agrees
