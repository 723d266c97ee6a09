"""What preflight expects of each step and of the whole: sums that add up, and a heatsink that follows its heat."""

from __future__ import annotations

import itertools
import math
from pathlib import Path

import pytest

from benchctl.runner.checks.expected_tree import ExpectedPart, expected_tree
from benchctl.runner.checks.preflight import Preflight
from benchctl.runner.expected.expected_step import series
from benchctl.runner.plan import outline
from tests.runner.checks.test_preflight import checked
from tests.runner.rig import POWER_ON_LINE, files, rig

SET = "set: {load: 4 ohm, frequency: 1 kHz}"
NESTED = (
    POWER_ON_LINE,
    "sweep: {load: [4 ohm, 2 ohm]}\n    steps:\n      - measure_idle: {for: 10 s}\n"
    "      - repeat: {times: 3}\n        steps: [{hold: {for: 2 s}}]",
    "when: {idle_current: below 3 A}\n    steps: [{hold: {for: 5 s}}]",
    "power_off",
)
# The HX 2150: 1.6 A at 14.4 V while idle, 0.55 K/W to the air, 480 s.
IDLE_W = 1.6 * 14.4


def tree(*steps: str) -> ExpectedPart:
    these = files(*steps)
    return expected_tree(outline(these.sequence, these.amplifier, these.bench), checked(*steps))


def test_the_tree_is_the_sequence_with_its_sweeps_repeats_and_conditions() -> None:
    whole = tree(*NESTED)
    assert [part.title for part in whole.parts] == [
        "power_on",
        "sweep load",
        "when idle_current below 3 A",
        "power_off",
    ]
    sweep = whole.parts[1]
    assert [part.title for part in sweep.parts] == ["4 ohm", "2 ohm"]
    assert [part.title for part in sweep.parts[0].parts] == ["measure_idle", "repeat 3 times"]
    assert [part.title for part in sweep.parts[0].parts[1].parts] == ["1 of 3", "2 of 3", "3 of 3"]


def test_the_whole_is_the_sum_of_its_steps() -> None:
    """The setting that takes the bench to a point of a sweep is counted with the point, though not shown."""
    whole, of_steps = tree(*NESTED), checked(*NESTED).expected_steps
    assert whole.duration_s == pytest.approx(sum(step.duration_s for step in of_steps))
    assert whole.energy_j == pytest.approx(sum(step.energy_j for step in of_steps))
    assert whole.peak_a == max(step.peak_a for step in of_steps)
    assert whole.heatsink_c == of_steps[-1].heatsink_c


def test_an_idle_amplifier_draws_its_idle_current_and_warms_by_it() -> None:
    """24 h are many time constants: 25 degC and what 23 W make of 0.55 K/W."""
    _, hold = checked(POWER_ON_LINE, "hold: {for: 24 h}").expected_steps
    assert hold.energy_j == pytest.approx(IDLE_W * 24 * 3600.0)
    assert hold.heatsink_c == pytest.approx(25.0 + 0.55 * IDLE_W, abs=0.01)


def test_an_amplifier_that_is_off_draws_nothing_and_cools() -> None:
    steps = checked(POWER_ON_LINE, "hold: {for: 1 h}", "power_off", "hold: {for: 480 s}").expected_steps
    warm_c = steps[-2].heatsink_c
    assert (steps[-1].energy_j, steps[-1].peak_a) == (0.0, 0.0)
    assert steps[-1].heatsink_c == pytest.approx(25.0 + (warm_c - 25.0) / math.e)


def test_each_step_begins_where_the_one_before_it_ended() -> None:
    steps = checked(*NESTED).expected_steps
    for before, after in itertools.pairwise(steps):
        assert after.begins_s == pytest.approx(before.ends_s)
        assert after.heatsink.now_c == pytest.approx(before.heatsink_c)


def hot(*then: str) -> Preflight:
    """After half an hour at a tone of 60 W into 4 ohm, and then these steps."""
    return checked(POWER_ON_LINE, SET, "set: {level: 490 mV}", "hold: {for: 30 min}", *then)


def test_a_cool_lasts_as_long_as_the_curve_takes_to_come_down() -> None:
    steps = hot("cool: {heatsink: below 50 degC, timeout: 2 h}").expected_steps
    warm_c, end_c = steps[-2].heatsink_c, 25.0 + 0.55 * IDLE_W
    assert warm_c > 60.0
    assert steps[-1].duration_s == pytest.approx(480.0 * math.log((warm_c - end_c) / (50.0 - end_c)), rel=1e-3)
    assert steps[-1].heatsink_c == pytest.approx(50.0, abs=0.01)


def test_a_cool_lasts_no_longer_than_its_timeout_and_not_at_all_where_it_is_cool() -> None:
    assert hot("cool: {heatsink: below 50 degC, timeout: 1 min}").expected_steps[-1].duration_s == 60.0
    assert hot("cool: {heatsink: below 30 degC, timeout: 1 h}").expected_steps[-1].duration_s == 3600.0
    assert checked("cool: {heatsink: below 45 degC, timeout: 1 h}").expected_steps[-1].duration_s == 0.0


def test_a_soak_ends_where_the_heatsink_is_too_warm() -> None:
    (*_, soak) = checked(
        POWER_ON_LINE, SET, "soak: {for: 2 h, level: 33 % rated, heatsink: below 80 degC}"
    ).expected_steps
    assert soak.duration_s < 1800.0
    assert soak.heatsink_c == pytest.approx(80.0, abs=0.01)


def test_a_soak_that_may_end_once_its_end_is_foretold_takes_little_more_than_a_time_constant() -> None:
    (*_, soak) = checked(POWER_ON_LINE, SET, "soak: {for: 2 h, level: 1 % rated, until: within 1 K}").expected_steps
    assert 480.0 < soak.duration_s < 960.0


def test_a_settle_lasts_until_the_curve_is_as_flat_as_asked_for() -> None:
    """25 + A exp(-t/480) changes by A exp(-t/480) (1 - exp(-60/480)) in a minute."""
    steps = hot("power_off", "settle: {heatsink: within 1 K, per: 60 s, timeout: 2 h}").expected_steps
    rise_k = steps[-2].heatsink_c - 25.0
    flat_s = 480.0 * math.log(rise_k * (1.0 - math.exp(-60.0 / 480.0)))
    assert steps[-1].duration_s == pytest.approx(flat_s + 60.0, rel=1e-3)


def test_what_drives_the_amplifier_while_it_settles_is_reckoned_with() -> None:
    driven = checked(POWER_ON_LINE, SET, "set: {level: 490 mV}", "settle: {supply_current: within 50 mA}")
    assert driven.worst_cases[-1].load_w == pytest.approx((0.49 * 31.6228) ** 2 / 4.0, rel=1e-4)
    assert driven.expected_steps[-1].peak_a > 10.0


def test_the_series_leads_from_the_first_step_to_the_end_of_the_last() -> None:
    steps = hot("cool: {heatsink: below 50 degC, timeout: 2 h}").expected_steps
    instants = series(steps)
    assert (instants[0].time_s, instants[0].heatsink_c) == (0.0, 25.0)
    assert instants[-1].time_s == pytest.approx(steps[-1].ends_s)
    assert all(before.time_s <= after.time_s for before, after in itertools.pairwise(instants))
    assert max(instant.heatsink_c for instant in instants) == pytest.approx(max(step.hottest_c for step in steps))


DRIVEN = (
    POWER_ON_LINE,
    SET,
    "measure_burst: {cycles: [8], every: 250 ms}",
    "soak: {for: 60 s, level: 33 % rated}",
    "power_off",
)


def test_energy_and_heat_are_what_the_simulated_bench_gives_to_a_sixth(tmp_path: Path) -> None:
    """Bursts and a minute of a steady tone, against the books of the simulated world."""
    foreseen = checked(*DRIVEN).expected_steps
    with rig(tmp_path, files(*DRIVEN)) as bench:
        assert bench.execute().error is None
        physical_bench = bench.simulated.physical_bench
        supplied_j, warmed_k = (
            physical_bench.meters.supplied,
            physical_bench.connections.heatsink_c - physical_bench.connections.ambient_c,
        )
    assert sum(step.energy_j for step in foreseen) == pytest.approx(supplied_j, rel=1 / 6)
    assert foreseen[-1].heatsink_c - 25.0 == pytest.approx(warmed_k, rel=1 / 6)
