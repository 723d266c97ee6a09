"""The further step that is advised tells as much as is promised, is written as a sequence that can be run, and there is
none where none would help.

A run of `before_and_after` has a second load and a second supply voltage. Without the records of one of them it is a
run that lacks just that step; with them, it shows what the step has told.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from benchctl.cli.commands.fit import fit
from benchctl.cli.shown.further import further_as_data, further_in_words, write_further
from benchctl.errors import UsageError
from benchctl.fit.examination import Examination, examine, examined
from benchctl.further.advice import Advice, advise, worst_of
from benchctl.further.cost import cost_of
from tests.runner.rig import amplifier_file, bench_file
from tests.shared_runs import SharedRuns


@pytest.fixture(scope="module")
def folder(shared_runs: SharedRuns) -> Path:
    return shared_runs.of("before_and_after", "hx2150").folder


@pytest.fixture(scope="module")
def whole(folder: Path) -> Examination:
    return examine(folder)


@pytest.fixture(scope="module")
def of_one_load(whole: Examination) -> Examination:
    """Without both tones that compare loads."""
    kept = tuple(take for take in whole.run.takes if "set level" not in take.name and "2 ohm" not in take.name)
    return examined(replace(whole.run, takes=kept))


@pytest.fixture(scope="module")
def of_one_voltage(whole: Examination) -> Examination:
    return examined(replace(whole.run, takes=tuple(take for take in whole.run.takes if take.supply_v > 14.0)))


@pytest.fixture(scope="module")
def for_resistance(folder: Path, of_one_load: Examination) -> Advice:
    return advise(folder, of_one_load, "output_resistance")


def promised(advice: Advice, words: str) -> float:
    (option,) = (option for option in advice.options if words in option.words)
    return option.expected.expanded_uncertainty


def test_a_second_load_tells_the_output_resistance_as_well_as_promised(
    whole: Examination, for_resistance: Advice
) -> None:
    told = worst_of(whole.quantities, "output_resistance").expanded_uncertainty
    assert for_resistance.now.untold
    assert 1.0 / 1.5 < told / promised(for_resistance, "then a tone of 354 mV into 2 ohm") < 1.5


def test_a_second_supply_voltage_tells_the_saturation_as_well_as_promised(
    folder: Path, whole: Examination, of_one_voltage: Examination
) -> None:
    told = worst_of(whole.quantities, "saturation").expanded_uncertainty
    advice = advise(folder, of_one_voltage, "saturation")
    assert advice.now.untold
    assert 1.0 / 1.5 < told / promised(advice, "clean level and 3 s of it into 4 ohm at 12.45 V") < 1.5


def test_the_best_step_stands_first_with_what_it_costs(of_one_load: Examination, for_resistance: Advice) -> None:
    assert [each.worth for each in for_resistance.options] == sorted(
        (each.worth for each in for_resistance.options), reverse=True
    )
    best = for_resistance.options[0]
    words = further_in_words(of_one_load, for_resistance)
    assert f"for its time and heat: {best.words}." in words
    assert f"{best.cost.duration_s / 60:.1f}" in words
    assert further_as_data(for_resistance)["further"][0]["step"] == best.words


def test_what_is_written_passes_preflight_and_measures_what_the_run_has_and_the_further_step(
    tmp_path: Path, for_resistance: Advice
) -> None:
    path = tmp_path / "next.yaml"
    write_further(for_resistance, path)
    text = path.read_text(encoding="utf-8")
    assert cost_of(text, amplifier_file(), bench_file()).hazards == ()
    steps = [line.removeprefix("  - ").partition(":")[0] for line in text.splitlines() if line.startswith("  - ")]
    assert steps[:5] == ["power_on", "measure_idle", "set", "measure_burst", "find_clean_level"]
    assert steps[-1] == "power_off"
    assert "note: the further step, " in text
    assert "heatsink: {above: {from: amplifier.heatsink.maximum}}" in text
    with pytest.raises(UsageError, match="is there already"):
        write_further(for_resistance, path)


def test_it_is_said_where_a_quantity_is_told_as_well_as_the_bench_can_and_where_nothing_tells_it(
    folder: Path, whole: Examination
) -> None:
    assert advise(folder, whole, "gain").why.startswith("it is told as well as this bench can")
    assert "nothing electrical tells one from the other" in advise(folder, whole, "bias_current").why


def test_a_quantity_that_there_is_not_is_refused_with_the_nearest(folder: Path, whole: Examination) -> None:
    with pytest.raises(UsageError, match="did you mean 'reservoir'"):
        advise(folder, whole, "reservoi")


def test_a_file_to_write_needs_a_quantity(folder: Path) -> None:
    ended = CliRunner().invoke(fit, [str(folder), "--write-next", "next.yaml"])
    assert ended.exit_code == 2
    assert "--write-next needs --next QUANTITY" in ended.output
