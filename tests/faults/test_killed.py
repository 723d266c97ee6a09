"""When the process of a real run ends in any way, its guardian switches off what the run had switched on."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.faults.killing import (
    DEADLINE_S,
    HOLDING,
    SAFE_WITHIN_S,
    LiveRun,
    ServedBench,
    live_run,
    start,
    until_everything_is_off,
    wait_for,
)

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")

BUSY = HOLDING.replace(
    "  - hold: {for: 5 min}\n", "  - measure_burst: {cycles: [1, 8], every: 250 ms, low_level: -20 dB, thd_n: 1 %}\n"
)
KILLS_SEED = 20261124
KILLS = 2


@pytest.mark.parametrize("moment_s", random.Random(KILLS_SEED).sample([0.1 * tenth for tenth in range(40)], KILLS))
def test_killed_at_any_moment_the_bench_is_safe_within_a_second(
    moment_s: float, bench: ServedBench, amplifier: Path, tmp_path: Path
) -> None:
    sequence = tmp_path / "busy.yaml"
    sequence.write_text(BUSY)
    with live_run(sequence, bench.file, amplifier, tmp_path / "runs") as run:
        run.wait_for_event("guardians started")
        with pytest.raises(subprocess.TimeoutExpired):
            run.process.wait(moment_s)
        run.process.kill()
        assert until_everything_is_off(bench) < SAFE_WITHIN_S
        assert wait_for(lambda: run.guardian_says("safe"), "the guardian's report")


def test_the_guardian_outlives_the_terminal_that_takes_the_run_with_it_and_reports(
    bench: ServedBench, holding: LiveRun
) -> None:
    os.killpg(holding.process.pid, signal.SIGKILL)
    assert until_everything_is_off(bench) < SAFE_WITHIN_S
    (safe,) = wait_for(lambda: holding.guardian_says("safe"), "the guardian's report")
    (acting,) = holding.guardian_says("acting")
    assert acting["reason"] == "the run has died"
    assert [(each["instrument"], each["part"], each["confirmed"]) for each in safe["instruments"]] == [
        ("generator", "output off", True),
        ("supply", "output 'remote' off", True),
        ("supply", "output 'main' off", True),
        ("load", "disconnected", True),
    ]


def test_a_run_that_is_frozen_is_made_safe_and_does_not_go_on_when_it_thaws(
    bench: ServedBench, holding: LiveRun
) -> None:
    holding.process.send_signal(signal.SIGSTOP)
    wait_for(bench.eyes.everything_is_off, "everything off")
    (acting,) = holding.guardian_says("acting") or wait_for(lambda: holding.guardian_says("acting"), "a report")
    assert "no sign of life" in acting["reason"]
    holding.process.send_signal(signal.SIGCONT)
    exit_code, printed = holding.end()
    assert exit_code == 5
    assert "guardian" in printed
    assert bench.eyes.everything_is_off()


def test_a_closed_terminal_ends_the_run_cleanly_and_its_guardian_leaves_without_a_word(
    bench: ServedBench, holding: LiveRun
) -> None:
    os.killpg(holding.process.pid, signal.SIGHUP)
    exit_code, printed = holding.end()
    assert exit_code == 6
    assert "closed terminal" in printed
    assert bench.eyes.everything_is_off()
    (started,), (dismissed,) = holding.events("guardians started"), holding.events("guardians dismissed")
    assert started["number"] < holding.events("step started")[0]["number"]
    assert dismissed["number"] > holding.events("safe state")[-1]["number"]
    assert not holding.guardian_says("acting")


def test_an_operator_in_a_hurry_leaves_the_confirmations_to_the_guardian(bench: ServedBench, holding: LiveRun) -> None:
    """No instrument answers any more; two signals still end the run."""
    bench.process.send_signal(signal.SIGSTOP)
    try:
        holding.process.send_signal(signal.SIGINT)
        holding.process.send_signal(signal.SIGTERM)
        assert holding.process.wait(DEADLINE_S) == 5
    finally:
        bench.process.send_signal(signal.SIGCONT)
    _, printed = holding.end()  # the guardian is still working and writes to the same terminal
    assert "NOT SAFE" in printed
    assert holding.events("guardian called")
    assert wait_for(lambda: holding.guardian_says("safe"), "the guardian's report")
    assert bench.eyes.everything_is_off()


def test_whoever_tells_a_guardian_to_end_ends_the_run(bench: ServedBench, holding: LiveRun) -> None:
    os.kill(holding.guardians()[0], signal.SIGTERM)
    exit_code, printed = holding.end()
    assert exit_code == 5
    assert "guardian" in printed
    assert bench.eyes.everything_is_off()


def test_a_second_run_on_the_bench_is_refused_until_the_first_is_gone_however_it_went(
    bench: ServedBench, amplifier: Path, holding: LiveRun, tmp_path: Path
) -> None:
    """The second one has another folder of user settings, and writes the same addresses differently."""
    respelled = tmp_path / "respelled.yaml"
    respelled.write_text(bench.file.read_text().replace("TCPIP::127.0.0.1::", "TCPIP2::127.1::"))
    arguments = ["run", str(tmp_path / "holding.yaml"), "--bench", str(respelled), "--amplifier", str(amplifier)]
    second = start([*arguments, "--out", str(tmp_path / "second")], tmp_path / "state", stderr=subprocess.PIPE)
    _, said = second.communicate(timeout=DEADLINE_S)
    assert second.returncode == 3
    assert holding.folder is not None
    assert f"process {holding.process.pid}" in said
    assert str(holding.folder.path) in said
    assert bench.eyes.on(), "the first run goes on"
    holding.process.kill()
    wait_for(lambda: holding.guardian_says("safe"), "the guardian's report")
    with live_run(tmp_path / "holding.yaml", bench.file, amplifier, tmp_path / "third") as third:
        third.wait_for_event("guardians started")


def test_making_the_bench_safe_by_hand_needs_no_lock(bench: ServedBench, holding: LiveRun) -> None:
    by_hand = start(["safe", "--bench", str(bench.file)], bench.file.parent, stdout=subprocess.DEVNULL)
    assert by_hand.wait(DEADLINE_S) == 0
    assert bench.eyes.everything_is_off()
