"""A person drives by hand in a terminal: whatever becomes of terminal, person or program, everything goes off."""

from __future__ import annotations

import os
import pty
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.faults.killing import (
    LiveRun,
    ServedBench,
    family,
    quick_amplifier,
    served_bench,
    start_in_terminal,
    until_everything_is_off,
    wait_for,
)

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="terminals of POSIX")

# The promise is a second, as for every run.
SAFE_WITHIN_S = 1.0
EVERYTHING = {"generator", "turn-on lead", "supply", "load"}


class RunByHand(LiveRun):
    """`benchctl manual` in a terminal of its own, whose keys a test presses."""

    def __init__(self, bench: Path, amplifier: Path, out: Path, *more: str) -> None:
        self.out, self._before = out, set(out.glob("*"))
        self.terminal, inside = pty.openpty()
        arguments = ["manual", "--bench", str(bench), "--amplifier", str(amplifier), "--out", str(out), *more]
        self.process = start_in_terminal(arguments, bench.parent, inside)
        os.close(inside)

    def press(self, keys: str) -> None:
        os.write(self.terminal, keys.encode("ascii"))

    def is_told(self, text: str) -> bool:
        """Whether its journal has a note of this text."""
        return any(text in event["text"] for event in self.events("note"))

    def leave(self) -> None:
        """Close the terminal."""
        os.close(self.terminal)
        self.terminal = -1


@pytest.fixture(scope="module")
def amplifier(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return quick_amplifier(tmp_path_factory.mktemp("amplifier"))


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory, amplifier: Path) -> Iterator[ServedBench]:
    with served_bench(tmp_path_factory.mktemp("bench"), amplifier) as served:
        yield served


@contextmanager
def driven(bench: ServedBench, amplifier: Path, out: Path, *more: str) -> Iterator[RunByHand]:
    """The amplifier is on and has a signal, by the keys of a person."""
    run = RunByHand(bench.file, amplifier, out, *more)
    guardians: list[int] = []
    try:
        run.wait_for_event("step started", step="1 drive_by_hand")
        guardians = run.guardians()
        run.press("o")
        wait_for(lambda: run.is_told("the amplifier is on"), "the amplifier on")
        run.press(" ")
        wait_for(lambda: bench.eyes.on() == EVERYTHING, "a signal")
        yield run
    finally:
        run.process.kill()
        run.process.wait()
        if run.terminal >= 0:
            os.close(run.terminal)
        # Until then they keep the bench locked, and the next session would be refused.
        wait_for(lambda: not any(map(is_there, guardians)), "the guardians gone")


def is_there(pid: int) -> bool:
    """Whether a process has not ended: one that nobody has waited for has no command line."""
    return any(each.command_line for each in family(pid))


def test_a_terminal_that_is_lost_ends_the_session_and_everything_is_off_within_a_second(
    bench: ServedBench, amplifier: Path, tmp_path: Path
) -> None:
    with driven(bench, amplifier, tmp_path / "runs") as run:
        run.leave()
        assert until_everything_is_off(bench) < SAFE_WITHIN_S
        ended = run.wait_for_event("run ended")
        assert ended["safe"]


def test_killed_the_guardians_switch_everything_off_within_a_second(
    bench: ServedBench, amplifier: Path, tmp_path: Path
) -> None:
    with driven(bench, amplifier, tmp_path / "runs") as run:
        run.process.kill()
        assert until_everything_is_off(bench) < SAFE_WITHIN_S


def test_without_a_key_the_signal_goes_off_and_the_key_q_ends_the_session(
    bench: ServedBench, amplifier: Path, tmp_path: Path
) -> None:
    with driven(bench, amplifier, tmp_path / "runs", "--set", "key_every=1s") as run:
        wait_for(lambda: run.is_told("no key for 1 s, so the signal is off"), "the signal off")
        assert "generator" not in bench.eyes.on()
        assert "supply" in bench.eyes.on()
        run.press("q")
        run.wait_for_event("run ended", reason="finished", safe=True)
        assert bench.eyes.everything_is_off()


def test_a_limit_that_trips_while_a_person_drives_switches_everything_off(
    bench: ServedBench, amplifier: Path, tmp_path: Path
) -> None:
    limited = tmp_path / "bench.yaml"
    text = bench.file.read_text("utf-8")
    # The inrush is above 3 A too, but not for so long.
    limited.write_text(
        text.replace("supply_current: {above: 110 A, for: 500 ms}", "supply_current: {above: 3 A, for: 500 ms}")
    )
    assert "above: 3 A" in limited.read_text("utf-8")
    limited_bench = ServedBench(limited, bench.process, bench.eyes)
    with driven(limited_bench, amplifier, tmp_path / "runs") as run:
        for _ in range(6):
            run.press("\x1b[5~")  # 6 dB louder
        ended = run.wait_for_event("run ended")
        assert "supply_current" in ended["reason"]
        assert ended["safe"]
        assert bench.eyes.everything_is_off()
