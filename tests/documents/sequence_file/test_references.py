"""Parameters and references: plain names that stand for values as they would be written, and nothing cleverer."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.documents.reader import load_amplifier, load_sequence, read_any
from benchctl.documents.sequence_file.bench_steps import Cool, PowerOn
from benchctl.documents.sequence_file.measuring_steps import MeasureIdle
from benchctl.documents.sequence_file.power_steps import FindCleanLevel
from benchctl.documents.sequence_file.references import known_of
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.documents.sequence_file.steps import Sweep
from benchctl.errors import DocumentError, UsageError
from benchctl.quantity import parse_quantity

HEAD = """benchctl: sequence 1
title: With parameters
parameters:
  supply: {unit: V, default: {from: amplifier.supply.nominal}, lowest: 10 V, highest: 16 V}
"""
POWER_ON = "steps:\n  - power_on: {voltage: {from: supply}, current_limit: {from: amplifier.supply.fuse}}\n"
HX2150 = load_amplifier("hx2150")


def written(folder: Path, text: str) -> Path:
    path = folder / "sequence.yaml"
    path.write_text(text)
    return path


def load(folder: Path, text: str = HEAD + POWER_ON, **settings: str) -> Sequence:
    return load_sequence(written(folder, text), HX2150, settings)


def power_on(sequence: Sequence) -> PowerOn:
    (step,) = (step for step in sequence.steps if isinstance(step, PowerOn))
    return step


def problems(folder: Path, text: str) -> list[str]:
    with pytest.raises(DocumentError) as caught:
        load(folder, text)
    return [f"{p.line}:{p.column} {p.message}" for p in caught.value.problems]


def test_a_parameter_is_its_default_unless_it_is_set(tmp_path: Path) -> None:
    assert power_on(load(tmp_path)).voltage_v == HX2150.supply.nominal_v
    assert power_on(load(tmp_path, supply="13.8V")).voltage_v == 13.8


def test_a_reference_to_the_amplifier_file_stands_for_its_value(tmp_path: Path) -> None:
    assert power_on(load(tmp_path)).current_limit_a == HX2150.supply.fuse_a


def test_one_sequence_serves_every_amplifiers_loads(tmp_path: Path) -> None:
    text = HEAD + POWER_ON + "  - sweep: {load: {from: amplifier.rated_loads}}\n    steps: [power_off]\n"
    (sweep,) = (step for step in load(tmp_path, text).steps if isinstance(step, Sweep))
    assert sweep.load_ohm == tuple(line.load_ohm for line in HX2150.rated)


def test_the_start_of_a_search_is_no_reference(tmp_path: Path) -> None:
    """`from: 10 mV` is a quantity, whatever it is alone with."""
    text = HEAD + POWER_ON + "  - find_clean_level: {from: 10 mV}\n"
    (search,) = (step for step in load(tmp_path, text).steps if isinstance(step, FindCleanLevel))
    assert search.from_v == 0.01


def test_limits_may_refer_too(tmp_path: Path) -> None:
    text = HEAD + "limits: {supply_voltage: {below: {from: amplifier.supply.minimum}}}\n" + POWER_ON
    limit = load(tmp_path, text).limits.supply_voltage
    assert limit is not None
    assert limit.below == HX2150.supply.minimum_v


def test_check_needs_no_amplifier(tmp_path: Path) -> None:
    assert read_any(written(tmp_path, HEAD + POWER_ON)).source.text


def test_an_unknown_name_is_told_once_with_the_nearest_one(tmp_path: Path) -> None:
    text = HEAD + POWER_ON.replace("amplifier.supply.fuse", "amplifier.suply.fuse")
    assert problems(tmp_path, text) == [
        "6:63 unknown name 'amplifier.suply.fuse'; did you mean 'amplifier.supply.fuse'?"
    ]


def test_a_reference_of_another_kind_is_refused_where_it_stands(tmp_path: Path) -> None:
    (problem,) = problems(tmp_path, HEAD + POWER_ON + "  - hold: {for: {from: supply}}\n")
    assert problem.startswith("7:24 '14.4 V'")


def test_a_parameter_that_nothing_uses_is_a_slip(tmp_path: Path) -> None:
    text = HEAD + "  spare: {unit: A, default: 3 A}\n" + POWER_ON
    assert problems(tmp_path, text) == ["5:3 the parameter 'spare' is used nowhere"]


@pytest.mark.parametrize("default", ["9 V", "17 V"])
def test_a_default_beyond_its_own_range_is_refused(tmp_path: Path, default: str) -> None:
    text = HEAD.replace("{from: amplifier.supply.nominal}", default) + POWER_ON
    (problem,) = problems(tmp_path, text)
    assert "value, 1" in problem


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"supply": "18 V"}, "above the highest value, 16 V"),
        ({"supply": "9 V"}, "below the lowest value, 10 V"),
        ({"supply": "13.8"}, "has no unit"),
        ({"supply": "13.8 A"}, "'A' is not accepted"),
        ({"suply": "13.8 V"}, "did you mean 'supply'"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_in_words(tmp_path: Path, settings: dict[str, str], words: str) -> None:
    with pytest.raises(UsageError, match=words):
        load(tmp_path, **settings)


def test_references_do_not_compute(tmp_path: Path) -> None:
    text = HEAD + POWER_ON.replace("{from: supply}", "{from: supply * 2}")
    assert problems(tmp_path, text)


def test_what_the_amplifier_file_leaves_out_is_named_with_the_place_that_asks_for_it(tmp_path: Path) -> None:
    """An amplifier whose idle current nobody knows cannot be held to it. The place is the sequence's, the entry the
    amplifier file's, and what to write there is said."""
    plate = tmp_path / "unit.yaml"
    plate.write_text(HX2150.source.text.replace("idle_current: 1.6 A\n", ""))
    silent = load_amplifier(plate)
    asking = HEAD + POWER_ON.replace("amplifier.supply.fuse", "amplifier.idle.current_limit")
    with pytest.raises(DocumentError) as caught:
        load_sequence(written(tmp_path, asking), silent)
    (problem,) = caught.value.problems
    assert asking.splitlines()[problem.line - 1][problem.column - 1 :].startswith("amplifier.idle.current_limit")
    assert f"{plate} does not give 'idle_current'; add a line" in problem.message
    assert "'idle_current: 1 A'" in problem.message


def test_a_criterion_may_come_from_the_amplifier_file(tmp_path: Path) -> None:
    """Half as much again as the 1.6 A that the HX 2150 should idle at; 5 K short of its heatsink's 85 degC."""
    text = HEAD + POWER_ON
    text += "  - measure_idle: {expect: {idle_current: {from: amplifier.idle.criterion}}}\n"
    text += "  - cool: {heatsink: {from: amplifier.heatsink.criterion}}\n"
    *_, idle, cool = load(tmp_path, text).steps
    assert isinstance(idle, MeasureIdle)
    assert isinstance(cool, Cool)
    assert idle.expect["idle_current"].bound == pytest.approx(2.4)
    assert cool.heatsink.bound == 80.0


def test_a_list_may_hold_references(tmp_path: Path) -> None:
    text = HEAD + POWER_ON
    text += "  - sweep: {supply: [{from: amplifier.supply.minimum}, 12 V]}\n    steps: [power_off]\n"
    (sweep,) = (step for step in load(tmp_path, text).steps if isinstance(step, Sweep))
    assert sweep.supply_v == (HX2150.supply.minimum_v, 12.0)


def test_the_range_of_supply_voltages_ends_short_of_the_supplys_protection() -> None:
    volts = known_of(HX2150)["amplifier.supply.range"]
    assert isinstance(volts, tuple)
    assert len(volts) == 6
    assert volts[0] == "10.5 V"
    assert 15.0 < parse_quantity(volts[-1], "V") < HX2150.supply.maximum_v


@pytest.mark.parametrize(
    ("rated", "other"),
    [((4.0, 2.0), 2.0), ((8.0, 4.0), 8.0), ((8.0, 4.0, 2.0), 8.0), ((2.0,), 2.0), ((4.0,), 8.0)],
)
def test_the_other_load_is_rated_and_near_the_usual_one_or_a_light_one(rated: tuple[float, ...], other: float) -> None:
    lines = tuple(HX2150.rated[0].model_copy(update={"load_ohm": ohm}) for ohm in rated)
    assert known_of(HX2150.model_copy(update={"rated": lines}))["amplifier.other_load"] == f"{other:g} ohm"


def test_the_reduced_supply_voltage_is_halfway_from_the_lowest_to_the_nominal() -> None:
    """10.5 V and 14.4 V."""
    assert known_of(HX2150)["amplifier.supply.reduced"] == "12.45 V"


def test_the_rated_levels_end_where_the_load_with_the_least_rated_voltage_has_its_rated_power() -> None:
    """250 W into 2 ohm are 22.36 V, less than the 24.5 V of 150 W into 4 ohm; over 30 dB of gain, 707.1 mV."""
    levels = known_of(HX2150)["amplifier.rated_levels"]
    assert len(levels) == 9
    assert parse_quantity(levels[-1], "V") == pytest.approx(0.7071, abs=1e-4)
    assert parse_quantity(levels[4], "V") == pytest.approx(0.7071 / 2, abs=1e-4)
