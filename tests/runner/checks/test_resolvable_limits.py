"""Limits that lie within the error of the instrument that reads them."""

from __future__ import annotations

from collections.abc import Mapping

import pytest

from benchctl.runner.checks.resolvable_limits import coarse_ranges, too_close, unresolved
from benchctl.runner.plan import expand
from tests.runner.rig import POWER_ON_LINE, Edits, files

COARSE: Edits = {
    "bits: 12": "bits: 8",
    "voltage: {reading: 0.5 %, range: 0.1 %}": "voltage: {reading: 3 %, range: 1.25 %}",
}


def told(limits: Mapping[str, str], *steps: str, bench: Edits | None = None) -> tuple[list[str], list[str], list[str]]:
    """What is refused, warned of and noted."""
    of = files(*(steps or (POWER_ON_LINE,)), limits=limits, bench=bench)
    plan = expand(of.sequence, of.amplifier, of.bench)
    return list(unresolved(of, plan)), list(too_close(of, plan)), list(coarse_ranges(of, plan))


def test_a_limit_on_dc_within_the_error_of_the_range_of_quiet_outputs_is_refused_with_the_range() -> None:
    """0.1 V want 29 mV a division before a probe of 20:1: 32 mV, 0.128 V to either side. Of 0.256 V a tenth of 1.25 %
    drifts, 0.32 mV, and half of a 256th is half a step, 0.5 mV, in the zero and in the record: by the root of the sum
    of squares 0.78 mV."""
    (refused,), _, _ = told({"output_offset": "{outside: 700 uV}"}, bench=COARSE)
    assert "on a range of 130 mV to either side" in refused
    assert "knows dc to 770 uV" in refused
    assert "give more than 770 uV" in refused
    assert told({"output_offset": "{outside: 900 uV}"}, bench=COARSE)[0] == []


def test_without_a_zero_the_stated_error_counts_and_what_would_help_is_said() -> None:
    """1.25 % of 0.256 V are 3.2 mV."""
    (refused,), _, _ = told({"output_offset": "{outside: 3 mV}"}, "note: on by other means", bench=COARSE)
    assert "knows dc to 3.2 mV" in refused
    assert "switch the amplifier on in the sequence" in refused


def test_where_full_power_hides_some_dc_it_is_noted_from_where_on_it_is_sure_to_trip() -> None:
    """150 W into 4 ohm: 1.5 times 34.6 V of peak want 0.77 V a division, so 1 V: 80 V to either side, of which 0.2 V
    drift, and half a step is 0.31 V in the zero and in the record: by the root of the sum of squares 0.49 V."""
    _, _, (noted,) = told({"output_offset": "{outside: 500 mV}"}, bench=COARSE)
    assert "on a range of 80 V to either side" in noted
    assert "known to 480 mV only" in noted
    assert "not sure to trip below 1.5 V" in noted
    assert told({"output_offset": "{outside: 4 V}"}, bench=COARSE)[2] == []
    assert told({"output_offset": "{outside: 500 mV}"})[2] == [], "an oscilloscope of 12 bits"


def test_a_limit_on_the_current_that_the_supply_may_read_of_nothing_is_refused() -> None:
    """sim/workshop.yaml: 60 mA of fixed error."""
    (refused,), _, _ = told({"supply_current": "{above: 50 mA}"})
    assert "may be off by 60 mA where no current flows" in refused
    assert told({"supply_current": "{above: 70 mA}"})[0] == []


@pytest.mark.parametrize("signal", ["heatsink", "load"])
def test_a_limit_on_a_temperature_that_a_cold_sensor_may_read_is_refused(signal: str) -> None:
    (refused,), _, _ = told({signal: "{above: 25.5 degC}"})
    assert "at room temperature, 25 degC" in refused
    assert told({signal: "{above: 40 degC}"})[0] == []


def test_a_limit_on_the_voltage_nearer_than_the_error_of_its_reading_is_warned_of() -> None:
    _, (warned,), _ = told({"supply_voltage": "{above: 14.41 V}"})
    assert "the reading of 14.4 V may be off by" in warned
    assert told({"supply_voltage": "{below: 11 V, above: 16 V}"})[1] == []
