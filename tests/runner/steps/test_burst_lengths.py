"""A burst length that gives no figures does not take them from the longer ones."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.runner.generator_forms import with_generator
from tests.runner.measured import Measured, measured

# Of bursts that begin anywhere in a cycle, one of a single cycle holds no whole cycle, and one of eight holds seven.
BURSTS = "measure_burst: {cycles: [1, 8], every: 250 ms, thd_n: 1 %, from: 500 mV, to: 2 V}"


@pytest.fixture(scope="module")
def run(tmp_path_factory: pytest.TempPathFactory) -> Measured:
    return measured(tmp_path_factory.mktemp("lengths"), BURSTS, bench=with_generator("keyed_modulation"))


def test_a_longer_burst_is_measured_after_one_that_gives_no_figures(run: Measured) -> None:
    assert {figure.burst_cycles for figure in run.figures("burst_power_clean")} == {8}


def test_what_is_missing_is_told_at_once_and_at_the_end_with_its_reason(run: Measured) -> None:
    reason = "a burst of 1 cycle that begins anywhere in a cycle has no whole one"
    assert f"no figures for bursts of 1 cycle: {reason}. The next length is measured" in run.notes
    assert f"3 measure_burst lacks figures: bursts of 1 cycle: {reason}" in run.notes
    assert run.outcome.unmeasured == (f"3 measure_burst: bursts of 1 cycle: {reason}",)
    assert run.outcome.exit_code == 1


def test_nothing_is_driven_after_such_a_step(run: Measured) -> None:
    (finished,) = [each for each in run.events if each["event"] == "step finished" and "measure_burst" in each["step"]]
    assert finished["conditions"]["drive"] == "undriven"
    assert run.verification.agrees


def test_where_every_length_fails_each_tells_its_reason(tmp_path: Path) -> None:
    run = measured(tmp_path, BURSTS.replace("from: 500 mV", "from: 1.5 V"))
    assert not run.figures("burst_power_clean")
    (told,) = run.outcome.unmeasured
    for length in ("1 cycle", "8 cycles"):
        assert f"bursts of {length}: clean level, {length}: distortion is above 1 % already at" in told
    assert any("gives no figures: bursts of 1 cycle:" in note for note in run.notes)
