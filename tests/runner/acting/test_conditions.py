"""What the bench is set to is kept as it is set, and stands with every step, record and figure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, replace
from pathlib import Path

import pytest

from benchctl.documents.model.criteria import Criterion
from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Cool, Set
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.measure.conditions import UNDRIVEN, Conditions
from benchctl.runner.acting.drive import tone
from benchctl.runner.acting.inputs import feed
from benchctl.runner.acting.run import CleanLevel
from tests.runner.measured import Measured, measured
from tests.runner.rig import POWER_ON, Rig, rig

COLD = Criterion(relation="below", bound=45.0, unit="degC")
AT_4_OHM = Set(load_ohm=4.0, frequency_hz=1e3)
LOADED = replace(UNDRIVEN, load_ohm=4.0, frequency_hz=1e3)
DRIVEN = Conditions(4.0, 1e3, 0.1, "set", 14.4, ("A", "B"))


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Rig]:
    with rig(tmp_path_factory.mktemp("bench")) as found:
        found.begin()
        found.do(POWER_ON)
        yield found


def test_at_first_nothing_is_set_and_nothing_drives(tmp_path: Path) -> None:
    with rig(tmp_path) as it:
        assert it.run.conditions == UNDRIVEN


def test_load_frequency_level_and_supply_are_those_set_last(bench: Rig) -> None:
    bench.do(
        Set(load_ohm=2.0, frequency_hz=100.0),
        Set(level=Level(0.2)),
        AT_4_OHM,
        Set(level=Level(0.1)),
        Set(supply_v=13.0),
    )
    assert bench.run.conditions == replace(DRIVEN, supply_set_v=13.0)
    bench.do(Set(supply_v=14.4))


@pytest.mark.parametrize("again", [Set(load_ohm=4.0), Set(frequency_hz=1e3)])
def test_a_level_goes_on_driving_where_a_set_names_the_load_that_is_connected_already(bench: Rig, again: Set) -> None:
    bench.do(AT_4_OHM, Set(level=Level(0.1)), again)
    assert bench.run.conditions == DRIVEN


@pytest.mark.parametrize("silencing", [Set(load_ohm=2.0), Cool(heatsink=COLD, timeout_s=60.0)])
def test_a_step_that_leaves_the_amplifier_undriven_is_kept_as_such(bench: Rig, silencing: StepBase) -> None:
    bench.do(AT_4_OHM, Set(level=Level(0.1)), silencing)
    found = bench.run.conditions
    assert (found.drive, found.level_v, found.driven) == ("undriven", None, ())


def test_the_channels_that_are_driven_are_those_whose_inputs_are_fed(bench: Rig) -> None:
    feed(bench.run, ("B",))
    tone(bench.run, 0.1)
    assert bench.run.conditions.driven == ("B",)
    feed(bench.run)
    tone(bench.run, 0.1)
    assert bench.run.conditions.driven == ("A", "B")


def test_a_level_that_was_found_at_another_supply_voltage_is_not_called_clean() -> None:
    found = CleanLevel(0.8, 0.01, supply_set_v=14.4)
    assert [found.drive_at(voltage_v) for voltage_v in (14.4, 10.5)] == ["clean", "set"]


# -- a run of set and searched levels -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def levels(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measured(
        tmp_path_factory.mktemp("levels"),
        "measure_idle: {for: 1 s}",
        "measure_continuous: {level: 100 mV, for: 1 s}",
        "set: {load: 4 ohm, level: 200 mV}",
        "measure_continuous: {for: 1 s}",
        "find_clean_level: {thd_n: 1 %, from: 500 mV, to: 2 V}",
        "measure_continuous: {for: 1 s}",
        "set: {supply: 13 V}",
        "measure_continuous: {for: 1 s}",
    )


def test_each_figure_says_how_its_level_was_found_and_at_which_voltage_of_the_supply(levels: Measured) -> None:
    """The last one plays a level that was searched at another voltage."""
    rows = levels.table.drop_duplicates("step")
    clean_v = next(event["level_v"] for event in levels.events if event["event"] == "clean level")
    assert rows[["drive", "supply_set_v", "driven"]].to_numpy().tolist() == [
        ["undriven", 14.4, ""],
        ["set", 14.4, "A B"],
        ["set", 14.4, "A B"],
        ["clean", 14.4, "A B"],
        ["set", 13.0, "A B"],
    ]
    assert rows["level_v"].tolist()[1:] == [0.1, 0.2, clean_v, clean_v]
    assert rows["frequency_hz"].isna().tolist() == [True, False, False, False, False], "an idle amplifier has none"
    assert rows["load_ohm"].tolist() == [4.0] * 5


def test_only_power_at_the_clean_level_and_nominal_supply_is_judged_by_the_rating(levels: Measured) -> None:
    judged = levels.table[levels.table["verdict"] != ""]
    assert set(judged["step"]) == {"8 measure_continuous"}


def test_each_step_and_each_record_is_journalled_with_what_the_bench_was_set_to(levels: Measured) -> None:
    at = {
        (event["event"], event["step"]): event["conditions"]
        for event in levels.events
        if event["event"] in ("step started", "step finished")
    }
    assert at["step started", "1 power_on"]["supply_set_v"] is None
    assert at["step finished", "1 power_on"]["supply_set_v"] == 14.4
    assert at["step started", "6 measure_continuous"]["level_v"] == 0.2
    assert at["step finished", "6 measure_continuous"]["drive"] == "undriven"
    assert at["step finished", "11 power_off"] == asdict(replace(UNDRIVEN, frequency_hz=1e3)) | {"driven": []}
    records = [event for event in levels.events if event["event"] == "capture"]
    driven = [record["conditions"] for record in records if "continuous" in record["file"]]
    assert [conditions["level_v"] for conditions in driven[:2]] == [0.1, 0.2]
    assert all(conditions["driven"] == ["A", "B"] for conditions in driven)
    assert all(15.0 < record["load_c"] < 100.0 for record in records), "as the guard has read it last"


def test_the_generators_accuracy_is_in_every_context(levels: Measured) -> None:
    contexts = [event["context"] for event in levels.events if event["event"] == "figures"]
    assert all(context["level_accuracy"] for context in contexts)
