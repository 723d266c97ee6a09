"""How long questions take is part of what is foretold: of the run's length, and of how warm the heatsink gets."""

from __future__ import annotations

import pytest

from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.expected.pace import GUARDED, Pace, declared_pace, slower
from benchctl.runner.plan import expand
from tests.runner.rig import POWER_ON_LINE, Edits, bench_file, files

OSCILLOSCOPE = "    driver: oscilloscope/preamble_list\n"
SLOW: Edits = {OSCILLOSCOPE: f"{OSCILLOSCOPE}    question_takes: 100 ms\n"}
STEPS = (POWER_ON_LINE, "set: {load: 4 ohm, frequency: 1 kHz}", "find_clean_level: {thd_n: 1 %, from: 100 mV, to: 2 V}")


def foretold(bench: Edits | None = None, measured: Pace | None = None) -> Preflight:
    these = files(*STEPS, "power_off", bench=bench)
    plan = expand(these.sequence, these.amplifier, these.bench)
    return preflight(these, plan, unattended=False, measured=measured)


def hottest_c(checked: Preflight) -> float:
    return max(step.hottest_c for step in checked.expected_steps)


def test_a_slow_oscilloscope_makes_the_run_longer_and_the_heatsink_warmer() -> None:
    quick, slow = foretold(), foretold(SLOW)
    assert slow.duration_s > quick.duration_s + 20.0
    assert hottest_c(slow) > hottest_c(quick) + 0.5


def test_what_was_measured_counts_where_it_is_longer_than_what_is_declared() -> None:
    assert foretold(SLOW, Pace({"oscilloscope": 0.05})).duration_s == foretold(SLOW).duration_s
    assert foretold(SLOW, Pace({"oscilloscope": 0.2})).duration_s > foretold(SLOW).duration_s


def test_a_supply_that_the_guard_can_read_only_now_and_then_is_told() -> None:
    """A third of its time: one question of 0.3 s each 0.9 s."""
    assert not [note for note in foretold().notes if "the guard reads it" in note]
    (note,) = [note for note in foretold(measured=Pace({"supply": 0.3})).notes if "the guard reads it" in note]
    assert "takes 300 ms for an answer, so the guard reads it about every 900 ms" in note


def test_of_two_paces_each_instrument_has_the_slower() -> None:
    pace = slower(Pace({"supply": 0.3}), Pace({"supply": 0.1, "load": 0.02}))
    assert (pace.ask_s("supply"), pace.ask_s("load"), pace.ask_s("generator")) == (0.3, 0.02, 0.0)


def test_an_undriven_step_of_a_slow_bench_is_longer_by_the_questions_after_it() -> None:
    every = Pace(dict.fromkeys(("generator", "oscilloscope", "load", "supply", "thermometer"), 0.1))
    longer_s = foretold(measured=every).worst_cases[-1].duration_s - foretold().worst_cases[-1].duration_s
    after_it_s = 2 * (3 + 2 * GUARDED) * 0.1  # two of the five instruments are read by the guard meanwhile
    switching_off_s = 2 * GUARDED * 0.1
    assert longer_s == pytest.approx(after_it_s + switching_off_s)


def test_the_pace_is_that_of_bench_file_and_driver_file() -> None:
    pace = declared_pace(bench_file(SLOW))
    assert pace.ask_s("oscilloscope", 3.0) == pytest.approx(0.3)
    assert pace.ask_s("supply") == 0.0
