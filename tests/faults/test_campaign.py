"""The short form of `python -m benchmarks.fault_campaign`: nine runs with faults drawn at random, then each
fault of a link by itself."""

from __future__ import annotations

from pathlib import Path
from typing import get_args

import pytest

from benchctl.documents.bench_file.faults import BenchFault
from benchmarks.bench_check import KINDS as KINDS_OF_WIRING
from benchmarks.fault_campaign.drawing import KINDS, LINK_KINDS, WRONG_KINDS
from benchmarks.fault_campaign.trial import trial, trial_of

RUNS_A_TEST = 3


@pytest.mark.parametrize("first", range(0, 9, RUNS_A_TEST))
def test_runs_with_faults_end_as_promised(tmp_path: Path, first: int) -> None:
    """No output on that could be switched off, no traceback, no figure without its journal entry, the right exit code,
    and a last event that tells of each instrument whether it confirmed."""
    done = [trial(seed, tmp_path) for seed in range(first, first + RUNS_A_TEST)]
    assert {each.seed: (each.faults, each.violations) for each in done if each.violations} == {}


def test_a_run_without_faults_passes(tmp_path: Path) -> None:
    """So if a run of the campaign ends in another way, a fault is the cause."""
    done = trial_of([], tmp_path)
    assert (done.exit_code, done.violations) == (0, [])


@pytest.mark.parametrize("kind", [kind for kind in LINK_KINDS if kind not in {"another model", "reset in mid-block"}])
def test_each_fault_of_a_link_strikes_and_the_run_ends_as_promised(tmp_path: Path, kind: str) -> None:
    """At the supply, which both guard and steps use, in the middle of a measurement."""
    done = trial_of([f"{{kind: {kind}, instrument: supply, exchange: 60, times: 4}}"], tmp_path)
    assert f"supply: {kind}" in done.struck
    assert done.violations == []


def test_the_kinds_drawn_are_all_there_are() -> None:
    """The campaign has every fault that a bench file can ask for; those of wiring are planted by `bench_check`."""
    models = get_args(get_args(BenchFault)[0])
    there_are = {kind for model in models for kind in get_args(model.model_fields["kind"].annotation)}
    assert there_are == {*KINDS, *WRONG_KINDS, *KINDS_OF_WIRING}
