"""Each step takes the settings a technician expects, with their units, and refuses the rest at its place."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Cool, PowerOn, Set, Settle
from benchctl.documents.sequence_file.power_steps import FindCleanLevel, MeasureBurst, MeasureContinuous
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.documents.sequence_file.steps import KINDS, STEP_CLASSES, Require, Sweep
from tests.documents.conftest import ProblemsOf

HEAD = "benchctl: sequence 1\ntitle: t\nsteps:\n  - power_on: {voltage: 14.4 V, current_limit: 90 A}\n"


@pytest.fixture
def step_of(document_of: Callable[[str], Sequence]) -> Callable[[str], StepBase]:
    """The step that `- TEXT` says."""
    return lambda text: document_of(f"{HEAD}  - {text}\n").steps[1]


@pytest.fixture
def fault_of(problems_of: ProblemsOf) -> Callable[[str], list[str]]:
    """The faults of `- TEXT`, which stands in line 5, its text from column 5."""
    return lambda text: problems_of(f"{HEAD}  - {text}\n")


def test_the_steps_of_a_power_test_are_known() -> None:
    assert set(KINDS) >= {
        *("power_on", "set", "hold", "cool", "settle", "find_clean_level", "measure_idle", "measure_burst"),
        *("measure_continuous", "sweep", "require", "power_off"),
    }


@pytest.mark.parametrize("step", STEP_CLASSES)
def test_every_step_and_every_setting_is_described(step: type[StepBase]) -> None:
    assert step.__doc__
    for name, info in step.model_fields.items():
        assert info.description or name == "kind", name


def test_a_step_without_settings_is_a_bare_word(step_of: Callable[[str], StepBase]) -> None:
    assert step_of("find_clean_level") == FindCleanLevel()
    assert step_of("find_clean_level:") == FindCleanLevel()
    assert step_of("find_clean_level: {}") == FindCleanLevel()


def test_settings_are_floats_in_base_units(step_of: Callable[[str], StepBase]) -> None:
    assert step_of("set: {load: 4 ohm, frequency: 1 kHz, level: 250 mV, supply: 13.8 V}") == Set(
        load_ohm=4.0, frequency_hz=1000.0, level=Level(0.25), supply_v=13.8
    )


def test_cool_waits_for_a_temperature_from_above(step_of: Callable[[str], StepBase]) -> None:
    cool = step_of("cool: {heatsink: below 45 degC, timeout: 40 min}")
    assert isinstance(cool, Cool)
    assert (cool.heatsink.relation, cool.heatsink.bound, cool.heatsink.unit) == ("below", 45.0, "degC")
    assert cool.timeout_s == 2400.0


def test_settle_waits_for_a_signal_to_change_little(step_of: Callable[[str], StepBase]) -> None:
    settle = step_of("settle: {heatsink: within 1 K, supply_current: within 50 mA, per: 2 min, timeout: 1 h}")
    assert isinstance(settle, Settle)
    assert settle.heatsink is not None
    assert settle.supply_current is not None
    assert (settle.heatsink.bound, settle.supply_current.bound) == (1.0, 0.05)
    assert (settle.per_s, settle.timeout_s) == (120.0, 3600.0)


def test_a_search_goes_up_by_6_db_at_most_unless_told(step_of: Callable[[str], StepBase]) -> None:
    search = step_of("find_clean_level: {thd_n: 0.5 %, from: 10 mV, to: 2 V}")
    assert isinstance(search, FindCleanLevel)
    assert (search.thd_n, search.from_v, search.to_v) == (0.005, 0.01, 2.0)
    assert search.step_ratio == pytest.approx(1.9952623149688795)  # 10^(6/20), by definition of the decibel


def test_a_step_of_the_search_is_written_in_decibels(step_of: Callable[[str], StepBase]) -> None:
    search = step_of("measure_burst: {cycles: [8], step: 3 dB}")
    assert isinstance(search, MeasureBurst)
    assert search.step_ratio == pytest.approx(1.4125375446227544)  # 10^(3/20)


def test_continuous_power_is_measured_at_the_last_clean_level_unless_told(step_of: Callable[[str], StepBase]) -> None:
    continuous = step_of("measure_continuous: {for: 5 s}")
    assert isinstance(continuous, MeasureContinuous)
    assert continuous.level is None


def test_require_names_figures_and_their_criteria(step_of: Callable[[str], StepBase]) -> None:
    require = step_of("require: {idle_current: below 3 A, dc_offset: within 50 mV}")
    assert isinstance(require, Require)
    assert require.criteria["idle_current"].holds(2.9)
    assert not require.criteria["dc_offset"].holds(-0.06)


def test_a_sweep_visits_every_combination_the_axis_written_first_slowest(step_of: Callable[[str], StepBase]) -> None:
    sweep = step_of("sweep: {frequency: [1 kHz, 20 Hz], load: [4 ohm, 2 ohm]}\n    steps: [{hold: {for: 1 s}}]")
    assert isinstance(sweep, Sweep)
    assert list(sweep.points()) == [
        {"frequency": 1000.0, "load": 4.0},
        {"frequency": 1000.0, "load": 2.0},
        {"frequency": 20.0, "load": 4.0},
        {"frequency": 20.0, "load": 2.0},
    ]


def test_a_step_can_be_built_in_python_with_numbers() -> None:
    assert PowerOn(voltage_v=14.4, current_limit_a=90.0).kind == "power_on"


@pytest.mark.parametrize(
    ("text", "faults"),
    [
        ("frobnicate", ["5:5: unknown step 'frobnicate'; known here: power_on, "]),
        ("hold: 10 s", ["5:11: '10 s' is written where the settings of 'hold' belong"]),
        ("hold", ["5:5: 'for' is missing here"]),
        ("hold: {for: 0 s}", ["5:17: '0 s' is out of range; it must be more than 0 s"]),
        ("hold: {for: 3}", ["5:17: '3' has no unit"]),
        ("hold: {fr: 3 s}", ["5:11: 'for' is missing here", "5:12: unknown key 'fr'; did you mean 'for'?"]),
        ("hold: {kind: x, for: 3 s}", ["5:12: 'kind' is not written"]),
        ("hold: {for: 3 s}\n    note: x", ["6:5: 'note' does not belong beside 'hold'"]),
        ("[]", ["5:5: a list is written where a step belongs"]),
        ("{}", ["5:5: a mapping is written where a step belongs"]),
        ("set: {}", ["5:10: nothing to set"]),
        ("prompt: {request: turn it up, record: [gain, gain]}", ["5:50: is in the list twice"]),
        ("set: {load: -4 ohm}", ["5:17: '-4 ohm' is out of range; it must be more than 0 ohm"]),
        (
            "power_on: {voltage: 14 V, current_limit: 9 A, overvoltage: 13 V}",
            ["5:64: over-voltage protection must lie"],
        ),
        ("power_on: {voltage: 14 V, current_limit: 9 A, overcurrent: 8 A}", ["5:64: over-current protection must not"]),
        ("cool: {heatsink: above 45 degC}", ["5:22: 'above 45 degC' does not begin with below"]),
        ("cool: {heatsink: below 45 K}", ["5:22: '45 K': 'K' is not accepted here; give degC"]),
        ("settle: {per: 10 s}", ["5:13: nothing to settle"]),
        (
            "settle: {heatsink: within 1 K, per: 60 s, timeout: 5 s}",
            ["5:56: the timeout must not be shorter than 'per'"],
        ),
        ("find_clean_level: {thd_n: 90 %}", ["5:31: '90 %' is out of range; it must be at most 30 %"]),
        ("find_clean_level: {from: 1 V, to: 1 V}", ["5:39: the highest level must lie above"]),
        ("measure_burst: {every: 1 s}", ["5:20: 'cycles' is missing here"]),
        ("measure_burst: {cycles: 8}", ["5:29: '8' is written where a list"]),
        ("measure_burst: {cycles: []}", ["5:29: 'cycles' has too few entries: at least 1 needed"]),
        ("measure_burst: {cycles: [0, 8, 8, 1.5]}", ["5:30: '0' is out of range", "5:39: '1.5' is not a whole number"]),
        ("measure_burst: {cycles: [8, 8]}", ["5:33: is in the list twice"]),
        ("measure_burst: {cycles: [8], low_level: 0 dB}", ["5:45: '0 dB' is out of range; it must be less than 0 dB"]),
        ("measure_idle: {expect: {idle_curent: below 2 A}}", ["5:42: unknown figure 'idle_curent'; did you mean"]),
        ("measure_idle: {expect: {idle_current: 2 A}}", ["5:43: '2 A' does not begin with below or above"]),
        ("measure_idle: {expect: {burst_power_clean: above 2 W}}", ["5:48: unknown figure 'burst_power_clean'"]),
        ("measure_idle: {expect: [a]}", ["5:28: a list is written where figures and their criteria belong"]),
        ("require", ["5:5: nothing is written where figures and their criteria belong"]),
        ("require: {}", ["5:14: nothing is required"]),
        ("require: {idle_current: below 3 W}", ["5:29: '3 W': 'W' is not accepted here; give A or mA"]),
        ("sweep: {}\n    steps: [power_off]", ["5:12: a sweep over nothing"]),
        ("sweep: {load: [4 ohm]}", ["5:12: 'steps' is missing here"]),
        ("sweep: {load: [4 ohm, 4 ohm]}\n    steps: [power_off]", ["5:27: is in the list twice"]),
        ("sweep: {load: [4 ohm], steps: [power_off]}", ["5:28: the steps of a sweep stand beside it"]),
        (
            "sweep: {lod: [4 ohm]}\n    steps: [power_off]",
            ["5:12: a sweep over nothing", "5:13: unknown key 'lod'; did"],
        ),
    ],
)
def test_what_is_wrong_in_a_step_is_told_at_its_place(
    text: str, faults: list[str], fault_of: Callable[[str], list[str]]
) -> None:
    told = fault_of(text)
    assert len(told) == len(faults), told
    for fault, beginning in zip(told, faults, strict=True):
        assert fault.startswith(beginning)


def test_a_soak_of_old_is_refused_with_the_way_to_write_it_now(problems_of: ProblemsOf) -> None:
    text = "steps:\n  - power_on: {voltage: 14.4 V, current_limit: 9 A}\n  - soak: {for: 1 h, of_rated: 12.5 %}\n"
    (told,) = problems_of("benchctl: sequence 1\ntitle: Old\n" + text + "  - power_off\n")
    assert told.endswith("'of_rated' is no key any more; write for example 'level: 12.5 % rated'")
