"""A generator with an output for each input: one output alone drives one channel, and the safe state has both off."""

from __future__ import annotations

from pathlib import Path

import pytest

from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Set
from tests.runner.measured import LOADED, Measured, hazards_of, look, measured
from tests.runner.rig import POWER_ON, POWER_ON_LINE, Edits, Rig, files, rig, with_inputs
from tests.runner.steps.test_at_least import EIGHT_BITS, QUIETER_B
from tests.runner.steps.test_driven import CONTINUOUS_EACH, FIND_EACH, alone, levels_v

TWO_OUTPUTS: Edits = {
    **with_inputs("{by: generator, outputs: {A: 1, B: 2}}"),
    "driver: generator/scpi99\n": "driver: generator/scpi99_outputs\n",
}


@pytest.fixture(scope="module")
def each(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    folder = tmp_path_factory.mktemp("outputs")
    bursts = "measure_burst: {cycles: [8], thd_n: 1 %, from: 500 mV, driven: [B]}"
    return measured(
        folder, FIND_EACH, CONTINUOUS_EACH, bursts, bench={**EIGHT_BITS, **TWO_OUTPUTS}, amplifier=QUIETER_B
    )


def test_each_channel_has_a_level_and_a_figure_of_its_own(each: Measured) -> None:
    levels = levels_v(each)
    assert levels["B"] / levels["A"] == pytest.approx(10 ** (1.5 / 20), rel=0.02)
    assert {alone(each, channel).verdict for channel in "AB"} == {"passes"}
    assert each.verification.agrees
    assert each.outcome.is_safe


def test_a_burst_into_the_second_input_begins_at_the_sync_of_the_first_output(each: Measured) -> None:
    assert {figure.channel for figure in each.figures("burst_power_clean")} == {"B", "total"}


def test_only_the_driven_channels_output_is_switched_on(each: Measured) -> None:
    switched = [text for role, text in each.sent if role == "generator" and text.endswith(" ON")]
    assert switched[0] == "OUTP1 ON"
    first_of_b = switched.index("OUTP2 ON")
    assert "OUTP2 ON" not in switched[:first_of_b]
    assert "OUTP1 ON" not in switched[first_of_b : first_of_b + 5]


@pytest.fixture
def two(tmp_path: Path) -> Rig:
    with rig(tmp_path, files(POWER_ON_LINE, LOADED, bench=TWO_OUTPUTS)) as found:
        found.begin()
        found.do(POWER_ON, Set(load_ohm=4.0, frequency_hz=1e3))
        yield found


def test_an_output_at_an_undriven_input_stays_off(two: Rig) -> None:
    two.do(Set(driven=("B",)), Set(level=Level(0.2)))
    assert two.run.conditions.driven == ("B",)
    first, second = two.connections.drive, two.connections.second_drive
    assert (first.output_on, second.output_on) == (False, True)


def test_muting_switches_both_outputs_off(two: Rig) -> None:
    two.do(Set(level=Level(0.2)))
    drives = (two.connections.drive, two.connections.second_drive)
    assert all(drive.output_on for drive in drives)
    two.do(Set(load_ohm=2.0))
    assert not any(drive.output_on for drive in drives)


def test_the_safe_state_confirms_each_output(two: Rig) -> None:
    parts = [part.what for part in two.run.bench.generator.safe_parts()]
    assert parts == ["output 1 off", "output 2 off"]


def test_a_driver_for_one_output_is_refused() -> None:
    found = hazards_of("measure_idle: {for: 1 s}", bench=with_inputs("{by: generator, outputs: {A: 1, B: 2}}"))
    assert "name a driver whose commands use {output}, such as generator/scpi99_outputs" in found[0]


def test_an_input_without_an_output_of_its_own_is_a_hazard() -> None:
    edits = {**TWO_OUTPUTS, **with_inputs("{by: generator, outputs: {A: 1}}")}
    checked = look(files(POWER_ON_LINE, LOADED, "power_off", bench=edits))
    assert any("no output of the generator feeds input B" in hazard for hazard in checked.hazards)
