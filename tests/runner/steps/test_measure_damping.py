"""measure_damping on the simulated bench: the simulator's output resistance comes out."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.measured import Measured, hazards_of, measured, within_uncertainty


@pytest.fixture(scope="module")
def damping(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    step = "measure_damping: {loads: [2 ohm, 4 ohm], expect: {damping_factor: above 80}}"
    return measured(tmp_path_factory.mktemp("run"), step, "measure_continuous: {level: 200 mV, for: 1 s}")


def test_output_impedance_is_the_amplifiers(damping: Measured) -> None:
    """20 mohm in the HX 2150's parameters, known to 5 %."""
    for channel in "AB":
        figure = damping.figure("output_impedance", channel)
        assert within_uncertainty(figure, 0.020)
        assert (figure.expanded_uncertainty or 1.0) < 0.001


def test_the_damping_factor_is_told_for_either_load(damping: Measured) -> None:
    """4 ohm over 20 mohm is 200, 2 ohm over it 100."""
    factors = {figure.load_ohm: figure for figure in damping.figures("damping_factor") if figure.channel == "A"}
    assert within_uncertainty(factors[4.0], 200.0)
    assert within_uncertainty(factors[2.0], 100.0)
    assert {figure.verdict for figure in factors.values()} == {"passes"}


def test_each_damping_factor_stands_in_the_row_of_its_load(damping: Measured) -> None:
    rows = damping.table[damping.table["figure"] == "damping_factor"]
    assert sorted(rows["load_ohm"]) == [2.0, 2.0, 4.0, 4.0]
    assert set(rows["frequency_hz"]) == {1e3}


def test_the_load_is_left_as_it_was(damping: Measured) -> None:
    rows = damping.table[damping.table["step"].str.contains("continuous")]
    assert set(rows["load_ohm"]) == {4.0}
    assert damping.outcome.unmeasured == ()


def test_every_figure_can_be_computed_again_and_the_time_was_foreseen(damping: Measured) -> None:
    assert damping.verification.agrees
    assert damping.expected_s("measure_damping") == pytest.approx(damping.took_s["measure_damping"], rel=0.1)


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("measure_damping: {loads: [4 ohm, 1 ohm]}", "1 ohm is below the amplifier's minimum load"),
        ("measure_damping: {loads: [8 ohm, 4 ohm]}", "the bench has no 8 ohm load"),
        ("measure_damping: {loads: [4 ohm, 2 ohm], level: 8 V}", "a level of 8 V is more than the generator gives"),
    ],
)
def test_preflight_refuses_what_cannot_be(step: str, words: str) -> None:
    assert any(words in hazard for hazard in hazards_of(step))


def test_one_load_alone_is_held_against_none(tmp_path: Path) -> None:
    """20 mohm, and 4 ohm over it 200; the load is connected again afterwards."""
    open_circuit = measured(
        tmp_path, "measure_damping: {loads: [4 ohm]}", "measure_continuous: {level: 200 mV, for: 1 s}"
    )
    assert within_uncertainty(open_circuit.figure("output_impedance", "A"), 0.020)
    factor = open_circuit.figure("damping_factor", "A")
    assert factor.load_ohm == 4.0
    assert within_uncertainty(factor, 200.0)
    assert open_circuit.figures("continuous_power")
    assert open_circuit.expected_s("measure_damping") == pytest.approx(open_circuit.took_s["measure_damping"], rel=0.1)
    assert open_circuit.verification.agrees
