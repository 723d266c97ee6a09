"""A limit bounds one signal from above, from below or to both sides, and says when it is passed."""

from __future__ import annotations

import math

import pytest

from benchctl.documents.model.limits import CurrentLimit, Limits, TemperatureLimit, VoltageLimit
from benchctl.documents.sequence_file.sequence import Sequence
from tests.documents.conftest import ProblemsOf

HEAD = "benchctl: sequence 1\ntitle: t\nsteps: [power_off]\nlimits:\n"


def test_each_signal_has_its_own_unit(document_of: object) -> None:
    assert callable(document_of)
    sequence = document_of(
        HEAD
        + "  supply_current: {above: 95 A, for: 500 ms}\n  supply_voltage: {below: 11 V, above: 16 V}\n"
        + "  heatsink: {above: 85 degC}\n  ambient: {above: 40 degC}\n  load: {above: 180 degC}\n"
        + "  output_offset: {outside: 500 mV, for: 1 s}\n"
        + "  temperatures: {transformer: {above: 90 degC}}\n"
        + "  supply_outputs: {remote: {voltage: {below: 10 V}, current: {above: 100 mA}}}\n"
    )
    assert isinstance(sequence, Sequence)
    assert [(name, limit.unit) for name, limit in sequence.limits.items()] == [
        ("supply_current", "A"),
        ("supply_voltage", "V"),
        ("supply_current_remote", "A"),
        ("supply_voltage_remote", "V"),
        ("heatsink", "degC"),
        ("ambient", "degC"),
        ("load", "degC"),
        ("transformer", "degC"),
        ("output_offset", "V"),
    ]


def test_signals_that_are_not_watched_are_left_out() -> None:
    assert Limits().items() == ()
    assert [name for name, _ in Limits(heatsink=TemperatureLimit(above=85.0)).items()] == ["heatsink"]


@pytest.mark.parametrize(
    ("limit", "kept", "passed"),
    [
        (CurrentLimit(above=95.0), [-10.0, 0.0, 95.0], [95.001, math.inf]),
        (VoltageLimit(below=11.0), [11.0, 400.0], [10.999, -1.0]),
        (VoltageLimit(below=11.0, above=16.0), [11.0, 14.4, 16.0], [10.9, 16.1]),
        (VoltageLimit(outside=0.5), [-0.5, 0.0, 0.5], [-0.51, 0.51]),
    ],
)
def test_a_limit_is_passed_beyond_its_bounds_and_kept_on_them(
    limit: CurrentLimit | VoltageLimit, kept: list[float], passed: list[float]
) -> None:
    assert not any(limit.is_passed(value) for value in kept)
    assert all(limit.is_passed(value) for value in passed)


def test_a_reading_that_is_not_a_number_passes_every_limit() -> None:
    assert CurrentLimit(above=95.0).is_passed(math.nan)
    assert VoltageLimit(outside=1.0).is_passed(math.nan)


def test_a_limit_says_itself_in_words() -> None:
    assert str(VoltageLimit(above=16.0, below=11.0, for_s=0.5)) == "above 16 V or below 11 V for 500 ms"
    assert str(TemperatureLimit(above=85.0)) == "above 85 degC"


@pytest.mark.parametrize(
    ("limit", "fault"),
    [
        ("heatsink: {}", "5:13: a limit without a bound; give 'above', 'below' or 'outside'"),
        ("heatsink: {for: 1 s}", "5:13: a limit without a bound"),
        ("heatsink: {above: 85 V}", "5:21: '85 V': 'V' is not accepted here; give degC"),
        ("heatsink: {above: 85}", "5:21: '85' has no unit; give degC, for example '85 degC'"),
        ("heatsink: {abov: 85 degC, above: 85 degC}", "5:14: unknown key 'abov'; did you mean 'above'?"),
        ("supply_voltage: {outside: 1 V, above: 2 V}", "5:29: 'outside' sets both bounds already"),
        ("supply_voltage: {outside: 0 V}", "5:29: 0 V is out of range"),
        ("supply_voltage: {below: 16 V, above: 11 V}", "5:27: no reading can pass"),
        ("supply_current: {above: 9 A, for: -1 s}", "5:37: '-1 s' is out of range; it must be at least 0 s"),
        ("supply_curent: {above: 9 A}", "5:3: unknown key 'supply_curent'; did you mean 'supply_current'?"),
        ("temperatures: {heatsink: {above: 85 degC}}", "5:18: 'heatsink' stands under 'limits' itself"),
        ("temperatures: {Choke: {above: 85 degC}}", "5:18: 'Choke' is not accepted; a name of small letters"),
        ("supply_outputs: {main: {current: {above: 9 A}}}", "5:20: 'main' is limited by 'supply_current' and"),
        ("supply_outputs: {remote: {}}", "5:28: nothing is limited; give 'current' or 'voltage'"),
        ("supply_current: 9 A", "5:19: '9 A' is written where a mapping of keys to values belongs"),
    ],
)
def test_a_limit_that_cannot_work_is_refused(limit: str, fault: str, problems_of: ProblemsOf) -> None:
    (told,) = problems_of(f"{HEAD}  {limit}\n")
    assert told.startswith(fault)
