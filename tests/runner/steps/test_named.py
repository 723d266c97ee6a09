"""A criterion may be told from an earlier figure: `idle_current: within 20 % of cold_idle` judges how a bias drifts.

The bias of the HX 2150 drifts with the temperature of its devices where its simulation says so; 20 % of 1.6 A are more
than the supply's readings leave open (0.3 % and 60 mA, of each).
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import pytest

from benchctl.archive.journal.entries import entries_of
from benchctl.archive.verdicts import named_figures
from benchctl.archive.verify import verdict_differences
from tests.runner.checks.test_preflight import SET_4_OHM
from tests.runner.rig import POWER_ON_LINE, Edits, Rig, files, rig

COLD = "measure_idle: {for: 2 s, name: cold_idle}"
WARM_UP = "soak: {for: 1 min, level: 30 % rated}"
WARM = "measure_idle: {for: 2 s, expect: {idle_current: within 20 % of cold_idle}}"
STEPS = (POWER_ON_LINE, SET_4_OHM, COLD, WARM_UP, WARM)
# A quarter of the heatsink's capacity: it warms four times as fast.
LIGHT: Edits = {"capacity: 900 J/K": "capacity: 225 J/K"}
DRIFTS: Edits = {**LIGHT, "bias_current: 110 mA": "bias_current: 110 mA\n  bias_drift: 15000 ppm/K"}


def performed(bench: Rig) -> str:
    """The verdict on the warm amplifier's idle current, after the whole sequence."""
    bench.execute()
    return bench.figures("idle_current")[""].verdict


@pytest.fixture(scope="module")
def steady(tmp_path_factory: pytest.TempPathFactory) -> Rig:
    """The whole sequence with a bias that stays, and the bench closed again."""
    with rig(tmp_path_factory.mktemp("steady"), files(*STEPS, "power_off", amplifier=LIGHT)) as bench:
        bench.execute()
        return bench


def verdict(folder: Path, *steps: str, amplifier: Mapping[str, str] | None = None) -> str:
    with rig(folder, files(*steps, "power_off", amplifier=amplifier)) as bench:
        return performed(bench)


def test_a_bias_that_stays_passes(steady: Rig) -> None:
    assert steady.figures("idle_current")[""].verdict == "passes"


def test_a_bias_that_drifts_fails_and_comes_out_so_again_from_the_journal(tmp_path: Path) -> None:
    with rig(tmp_path, files(*STEPS, "power_off", amplifier=DRIFTS)) as bench:
        assert performed(bench) == "fails"
        entries = entries_of(bench.events())
        assert list(verdict_differences(entries)) == []
        # What a run that goes on knows of the earlier step.
        kept = named_figures(entries)["cold_idle"]
        assert [each.figure for each in kept] == [each.figure for each in bench.run.named["cold_idle"]]


def test_a_verdict_that_does_not_follow_from_its_criterion_is_told(steady: Rig) -> None:
    events = [
        {**event, "figures": [{**each, "verdict": each["verdict"] and "fails"} for each in event["figures"]]}
        if event["event"] == "figures"
        else event
        for event in steady.events()
    ]
    (told,) = verdict_differences(entries_of(events))
    assert told.what == "verdict"
    assert told.outcome == "comes out as passes"


def test_a_run_ends_where_a_requirement_told_from_an_earlier_figure_does_not_hold(tmp_path: Path) -> None:
    warm = ("measure_idle: {for: 2 s}", "require: {idle_current: within 20 % of cold_idle}")
    steps = (POWER_ON_LINE, SET_4_OHM, COLD, WARM_UP, *warm, "power_off")
    with rig(tmp_path, files(*steps, amplifier=DRIFTS)) as bench:
        error = bench.execute().error
    assert error is not None
    assert "must be within 20 % of cold_idle" in str(error)


def test_a_step_that_gave_no_such_figure_leaves_the_verdict_open(tmp_path: Path) -> None:
    """A look at the dc gives no idle current."""
    steps = (POWER_ON_LINE, SET_4_OHM, "measure_dc: {name: cold_idle}", WARM)
    assert verdict(tmp_path, *steps) == "inconclusive"
