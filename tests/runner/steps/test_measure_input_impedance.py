"""measure_input_impedance on the simulated bench: a resistor in series, by hand."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.measured import Measured, hazards_of, measured
from tests.runner.rig import Rig

STEP = "measure_input_impedance: {resistor: 10 kohm, resistor_accuracy: 0.1 %}"


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    edits = {"  gain: 31.9 ": "  imperfections: {input: 22 kohm}\n  gain: 31.9 "}
    return measured(tmp_path_factory.mktemp("run"), STEP, amplifier=edits, disturb=with_hands)


def with_hands(rig: Rig) -> None:
    """The simulated bench does what a person is asked for."""
    rig.run.hands = rig.simulated


def test_the_input_resistance_comes_out(found: Measured) -> None:
    """22 kohm; the generator's 50 ohm behind both inputs move the ratio by 0.1 % at most."""
    for channel in "AB":
        figure = found.figure("input_impedance", channel)
        assert figure.value == pytest.approx(22e3, rel=0.01)
        assert (figure.expanded_uncertainty or 1e9) < 0.02 * 22e3
    assert found.verification.agrees


def test_a_person_is_asked_to_put_it_in_and_to_take_it_out(found: Measured) -> None:
    put, taken = (text for text in found.requests if "resistor" in text or "series" in text)
    assert put.startswith("Put 10 kohm in series with the lead to inputs A and B")
    assert taken.startswith("Take the resistor out again")


def test_an_input_that_draws_nothing_is_a_bound(tmp_path: Path) -> None:
    figure = measured(tmp_path, STEP, disturb=with_hands).figure("input_impedance", "A")
    assert figure.bound == "at least"
    assert figure.value > 1e6


def test_nobody_present_is_refused() -> None:
    assert any("nobody is present" in hazard for hazard in hazards_of(STEP))
