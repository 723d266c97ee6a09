"""A bench whose every answer takes 0.3 s: it is no reason to stop, and what it takes is foretold."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from benchctl.archive.journal.journal import read_journal
from benchctl.guard.sampler import SAMPLING_PERIOD_S
from benchctl.launch.opened import opened_bench
from benchctl.launch.run import Documents, Result, at_measured_pace, run_on
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from benchctl.simulator.true_records import TrueRecords
from benchmarks.nobody import Nobody
from benchmarks.sequences.trials import times
from tests.runner.rig import shipped
from tests.short_check import short_check

ROLES = ("generator", "oscilloscope", "load", "supply", "thermometer")
SEED = "  seed: 2150\n"
SLOW = SEED + "  instruments:\n" + "".join(f"    {role}: {{answers_after: 300 ms}}\n" for role in ROLES)
TOLERANCE = 0.1
"""As for every bench: preflight may be off by a tenth."""


@dataclass(frozen=True)
class Slow:
    """A dry run of a short check: what was foretold with and without the pace, and what came."""

    result: Result
    blind: Preflight
    knowing: Preflight
    hottest_c: float
    readings_apart_s: float

    def times_s(self, checked: Preflight) -> tuple[float, float]:
        """Foretold and taken."""
        events = read_journal(self.result.folder / "journal.jsonl").events
        return times(checked, events, self.result.outcome.unmeasured)


@pytest.fixture(scope="module")
def slow(tmp_path_factory: pytest.TempPathFactory) -> Slow:
    folder = tmp_path_factory.mktemp("slow")
    (folder / "bench.yaml").write_text(shipped("benches", "workshop", {SEED: SLOW}))
    files = Documents(short_check(folder), folder / "bench.yaml", "hx2150").load()
    blind = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
    with opened_bench(files, dry_run=True) as opened:
        assert opened.simulated is not None
        truth = TrueRecords(opened.simulated)
        knowing = at_measured_pace(opened, files, blind, unattended=False, accepted="")
        result = run_on(opened, files, knowing, Nobody(), out=folder)
        hottest_c = max(truth.heatsink_c(float(at_s)) for at_s in range(60, int(opened.clock.now())))
        apart_s = 3.0 * opened.bench.supply.question_s
    return Slow(result, blind, knowing, hottest_c, apart_s)


def test_slow_answers_stop_no_run(slow: Slow) -> None:
    assert slow.result.outcome.error is None
    assert slow.result.outcome.is_safe
    assert slow.result.outcome.unmeasured == ()
    assert slow.readings_apart_s > SAMPLING_PERIOD_S, "the guard leaves the link to the runner meanwhile"


def test_the_time_that_questions_take_is_foretold_once_it_was_measured(slow: Slow) -> None:
    foretold_s, taken_s = slow.times_s(slow.knowing)
    assert foretold_s == pytest.approx(taken_s, rel=TOLERANCE)
    assert slow.times_s(slow.blind)[0] < 0.2 * taken_s, "without it nobody would know"


def test_so_is_the_heat_of_the_drives_that_last_longer_for_it(slow: Slow) -> None:
    """Preflight knows no thermometer and begins at 25 degC, where it is 23 degC."""
    rise_k = slow.hottest_c - 23.0
    foretold_k = max(step.hottest_c for step in slow.knowing.expected_steps) - 25.0
    assert rise_k == pytest.approx(foretold_k, rel=0.2)
    assert max(step.hottest_c for step in slow.blind.expected_steps) - 25.0 < 0.3 * rise_k
