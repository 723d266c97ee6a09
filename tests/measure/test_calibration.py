"""What a workshop measures of its own things, against closed forms."""

from __future__ import annotations

import math

import pytest

from benchctl.errors import MeasurementError
from benchctl.measure.calibration import (
    Ohmmeter,
    PlainLead,
    Probing,
    Seen,
    TwoMeters,
    VoltsAmperes,
    Warmth,
    at_reference,
    from_two_temperatures,
    stated,
)
from benchctl.measure.freedom import expanded
from benchctl.measure.uncertainty import Accuracy, exactly, measured

EXACT = Accuracy()


def test_a_reversed_current_cancels_a_thermal_emf_exactly() -> None:
    """4 ohm at 10 mA with 5 uV: one direction is off by 0.0125 % (V/I - R = e/I); the mean of both is not."""
    emf_v, current_a = 5e-6, 0.01
    forward = VoltsAmperes(4.0 * current_a + emf_v, current_a)
    backward = VoltsAmperes(4.0 * current_a - emf_v, current_a)
    meters = TwoMeters(EXACT, EXACT)
    assert meters.resistance(forward).nominal_value / 4.0 - 1.0 == pytest.approx(1.25e-4, rel=1e-6)
    assert meters.resistance(forward, backward).nominal_value == pytest.approx(4.0, rel=1e-12)


def test_without_a_reversed_current_a_thermal_emf_counts() -> None:
    """10 uV at most, rectangular (JCGM 100, 4.3.7), over the current: u = 10 uV / sqrt 3 / 1 mA."""
    value = TwoMeters(EXACT, EXACT).resistance(VoltsAmperes(4e-3, 1e-3))
    assert value.std_dev == pytest.approx(10e-6 / math.sqrt(3) / 1e-3)
    assert Ohmmeter(EXACT, 1e-3).resistance([4.0]).std_dev == pytest.approx(10e-6 / math.sqrt(3) / 1e-3)
    assert Ohmmeter(EXACT, 1e-3).resistance([4.0], [4.0]).std_dev == 0.0


def test_volts_over_amperes_have_the_errors_of_both_meters() -> None:
    """Relative variances add for a quotient (JCGM 100, 5.1.6)."""
    meters = TwoMeters(Accuracy(reading=0.001), Accuracy(reading=0.002))
    value = meters.resistance(VoltsAmperes(4.0, 1.0), VoltsAmperes(4.0, 1.0))
    assert value.std_dev / 4.0 == pytest.approx(math.hypot(0.001, 0.002) / math.sqrt(3))


def test_the_scatter_of_readings_counts_by_students_t() -> None:
    """Two means of three readings: each s / sqrt 3 with two degrees of freedom. Their mean has four, for which k is
    2.869 (JCGM 100, table G.2: t for 95.45 %)."""
    value = Ohmmeter(EXACT, 1.0).resistance([3.999, 4.0, 4.001], [3.999, 4.0, 4.001])
    standard = 0.001 / math.sqrt(3) / math.sqrt(2)
    assert value.std_dev == pytest.approx(standard)
    assert expanded(value)[0] == pytest.approx(2.869 * standard, rel=1e-3)


def test_a_resistance_is_stated_at_20_degrees() -> None:
    """R20 = R / (1 + a (T - 20)); 400 ppm/K, 30 degC."""
    value = at_reference(exactly(4.016), 400e-6, Warmth(30.0, 1.0))
    assert value.nominal_value == pytest.approx(4.016 / 1.004)
    # dR/R: a dT and (T - 20) da, each rectangular
    assert value.std_dev / 4.0 == pytest.approx(math.hypot(400e-6 * 1.0, 10.0 * 400e-6) / math.sqrt(3), rel=0.01)


def test_two_temperatures_give_the_coefficient_and_the_resistance_at_20_degrees() -> None:
    """Made from 4.02 ohm and 180 ppm/K by R = R20 (1 + a (T - 20))."""
    at = {c: exactly(4.02 * (1 + 180e-6 * (c - 20.0))) for c in (23.0, 83.0)}
    found = from_two_temperatures(at[23.0], Warmth(23.0, 1.0), at[83.0], Warmth(83.0, 1.0))
    assert found.resistance.nominal_value == pytest.approx(4.02, rel=1e-9)
    assert found.coefficient.nominal_value == pytest.approx(180e-6, rel=1e-6)


def test_the_scale_of_one_meter_cancels_in_a_coefficient() -> None:
    ohmmeter = Ohmmeter(Accuracy(reading=0.01), 1.0)
    cold, hot = (ohmmeter.resistance([ohm], [ohm]) for ohm in (4.0, 4.0 * (1 + 100e-6 * 50)))
    found = from_two_temperatures(cold, Warmth(20.0, 0.0), hot, Warmth(70.0, 0.0))
    assert found.coefficient.std_dev < 1e-12
    assert found.resistance.std_dev / 4.0 == pytest.approx(0.01 / math.sqrt(3))


def test_temperatures_too_near_to_each_other_are_refused() -> None:
    with pytest.raises(MeasurementError, match="only 5 K warmer"):
        from_two_temperatures(exactly(4.0), Warmth(23.0, 1.0), exactly(4.01), Warmth(28.0, 1.0))


def test_a_stated_uncertainty_is_rounded_up_to_two_digits() -> None:
    found = stated(measured(4.0, 4.0 * 0.0006171))
    assert found.value == 4.0
    assert found.relative_uncertainty == pytest.approx(0.0013)


@pytest.mark.parametrize(
    ("value", "standard", "said"),
    [(-4.0, 0.01, "not above zero"), (4.0, 2.0, "no measurement"), (4.0, 0.0, "no error")],
)
def test_what_is_no_measurement_is_refused(value: float, standard: float, said: str) -> None:
    with pytest.raises(MeasurementError, match=said):
        stated(measured(value, standard))


OSCILLOSCOPE = Accuracy(reading=0.03, range=0.01)  # 3 %, 1 %: an ordinary one
VOLTMETER = Accuracy(reading=0.0005)


def at_input(volts: float) -> Seen:
    """As an oscilloscope shows it that reads 2 % too much."""
    return Seen(exactly(1.02 * volts), full_scale_v=4.0)


def test_the_error_of_the_oscilloscope_counts_in_a_probe() -> None:
    """30 V at a probe of 20.1:1. 3 %, of the meter 0.05 %, a tenth of the zero's 40 mV; each over sqrt 3."""
    value = Probing(OSCILLOSCOPE, VOLTMETER).probe_ratio(30.0, at_input(30.0 / 20.1))
    assert value.nominal_value == pytest.approx(20.1 / 1.02)
    assert abs(value.nominal_value - 20.1) < 2 * value.std_dev
    parts = (0.03, 0.0005, 0.004 / (1.02 * 30.0 / 20.1))
    assert value.std_dev / value.nominal_value == pytest.approx(math.hypot(*parts) / math.sqrt(3), rel=1e-3)


def test_a_plain_lead_makes_the_errors_of_gain_drop_out() -> None:
    """Those of the oscilloscope and of the reference, whose readings stand above and below the line."""
    value = Probing(OSCILLOSCOPE, VOLTMETER).probe_ratio(30.0, at_input(30.0 / 20.1), PlainLead(1.5, at_input(1.5)))
    assert value.nominal_value == pytest.approx(20.1)
    zeros = (0.004 / (1.02 * 30.0 / 20.1), 0.004 / (1.02 * 1.5))
    assert value.std_dev / value.nominal_value == pytest.approx(math.hypot(*zeros) / math.sqrt(3), rel=1e-3)


def test_a_clamp_the_wrong_way_round_has_its_sensitivity_all_the_same() -> None:
    """10.05 mV/A: 0.201 V at 20 A."""
    probing = Probing(Accuracy(reading=0.001), Accuracy())
    value = probing.sensitivity(20.0, Accuracy(reading=0.002), Seen(exactly(-0.201), 0.5))
    assert value.nominal_value == pytest.approx(0.01005)
    assert value.std_dev / value.nominal_value == pytest.approx(math.hypot(0.001, 0.002) / math.sqrt(3))


def test_a_plain_lead_takes_off_what_the_oscilloscope_is_off_a_straight_line_at_that_place() -> None:
    bent = Probing(Accuracy(linearity=0.01), Accuracy())
    value = bent.probe_ratio(20.0, Seen(exactly(1.0), 4.0), PlainLead(1.0, Seen(exactly(1.0), 4.0)))
    assert value.std_dev < 1e-12
    assert bent.probe_ratio(20.0, Seen(exactly(1.0), 4.0)).std_dev / 20.0 == pytest.approx(0.04 / math.sqrt(3))
    with pytest.raises(MeasurementError, match="within 5 %"):
        bent.probe_ratio(20.0, Seen(exactly(1.0), 4.0), PlainLead(1.2, Seen(exactly(1.2), 4.0)))


def test_an_oscilloscope_that_sees_nothing_calibrates_nothing() -> None:
    with pytest.raises(MeasurementError, match="sees nothing"):
        Probing(OSCILLOSCOPE, VOLTMETER).probe_ratio(30.0, Seen(exactly(0.001), 4.0))
