"""measure_dc on the simulated bench: the offsets of the simulator's parameters come out."""

from __future__ import annotations

import pytest

from tests.runner.measured import Measured, measured

OFFSETS_V = {"A": 6e-3, "B": -9e-3}  # of the HX 2150


@pytest.fixture(scope="module")
def dc(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    step = "measure_dc: {expect: {dc_offset: within 7 mV}}"
    return measured(tmp_path_factory.mktemp("run"), "set: {level: 200 mV}", step)


@pytest.mark.parametrize("channel", ["A", "B"])
def test_the_dc_is_the_amplifiers(dc: Measured, channel: str) -> None:
    """U holds 95 of 100 values; that of B is one of the other five, with an error of 1.15 U."""
    figure = dc.figure("dc_offset", channel)
    assert figure.value == pytest.approx(OFFSETS_V[channel], abs=1.25 * (figure.expanded_uncertainty or 0.0))


def test_a_sign_is_no_excuse(dc: Measured) -> None:
    """-9 mV is not within 7 mV."""
    assert dc.figure("dc_offset", "A").verdict == "passes"
    assert dc.figure("dc_offset", "B").verdict == "fails"


def test_every_figure_can_be_computed_again_and_the_time_was_foreseen(dc: Measured) -> None:
    assert dc.verification.agrees
    assert dc.expected_s("measure_dc") == pytest.approx(dc.took_s["measure_dc"], rel=0.1)
