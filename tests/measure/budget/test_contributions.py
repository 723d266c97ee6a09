"""The budget of a figure: each cause once, and squares that add up to that of the whole."""

from __future__ import annotations

import math

import pytest

from benchctl.measure.budget.contributions import contributions
from benchctl.measure.budget.figure import figure_of, keeping_values, value_of
from benchctl.measure.freedom import combined
from benchctl.measure.uncertainty import Accuracy, ErrorOf, LoadResistance, measured


def test_the_parts_of_a_power_are_those_of_its_inputs_times_their_sensitivities() -> None:
    """P = V^2 / R with V = 20 V, u 0.02310267 V, R = 4 ohm, u 0.01154701 ohm: 2 P u_V / V = 0.2310 W, P u_R / R =
    0.2887 W, together 0.3697386 W (JCGM 100, 5.1.2; computed by hand)."""
    power = measured(20.0, 0.02310267, "volts") ** 2 / measured(4.0, 0.01154701, "resistor")
    resistor, volts = contributions(power)
    assert (resistor.cause, volts.cause) == ("resistor", "volts")
    assert volts.standard == pytest.approx(2 * 100.0 * 0.02310267 / 20.0, rel=1e-9)
    assert resistor.standard == pytest.approx(100.0 * 0.01154701 / 4.0, rel=1e-9)
    assert math.hypot(volts.standard, resistor.standard) == pytest.approx(0.3697386, rel=1e-6)


def test_what_resistors_of_one_bank_have_in_common_is_a_line_of_its_own_and_the_sum_stays_the_same() -> None:
    loads = [LoadResistance(4.0, 4.0, relative_uncertainty=0.01, temperature_c=20.0).resistance(name) for name in "AB"]
    total = sum(100.0 / load for load in loads)
    parts = contributions(total)
    assert [part.cause for part in parts if "in common" in part.cause] == [
        "what the resistors of a bank have in common"
    ]
    assert math.hypot(*(part.standard for part in parts)) == pytest.approx(combined(total).standard, rel=1e-12)


def test_scale_and_zero_of_a_chain_are_named_by_its_signal_and_by_who_makes_them() -> None:
    chain = ErrorOf(
        (Accuracy(reading=0.01, range=0.001, scale="oscilloscope"), Accuracy(reading=0.02)), 10.0, of="output A"
    )
    causes = {part.cause for part in contributions(chain.on(5.0))}
    assert causes == {"output A: scale of the oscilloscope", "output A: scale of the probe", "output A: zero"}


def test_a_figure_finds_the_value_that_it_was_made_from() -> None:
    with keeping_values() as made:
        figure = figure_of("output_rms", measured(5.0, 0.1, "noise"), "V", "A")
    value = value_of(figure, made)
    assert value is not None
    assert [part.cause for part in contributions(value)] == ["noise"]


def test_nothing_is_kept_outside_of_the_block() -> None:
    with keeping_values() as made:
        pass
    figure_of("output_rms", measured(5.0, 0.1), "V")
    assert made == []
