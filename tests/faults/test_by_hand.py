"""A person drives by hand in a terminal: whatever becomes of terminal, person or program, everything goes off."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from tests.faults.forking import begin
from tests.faults.killing import (
    DEADLINE_S,
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


class Notebook(LiveRun):
    """The process of a notebook that has driven the amplifier, and now waits for its next cell."""

    CELLS = """
import sys, benchctl
bench = benchctl.open_bench(*sys.argv[1:3], dry_run=False, report=False, out=sys.argv[3]).open()
bench.switch_on()
bench.generator.on()
print("driven", flush=True)
sys.stdin.read()
"""

    def __init__(self, bench: Path, amplifier: Path, out: Path) -> None:
        self.out, self._before = out, set(out.glob("*"))
        arguments = ["-c", self.CELLS, str(bench), str(amplifier), str(out)]
        self.process = begin(arguments, stdin=subprocess.PIPE, stdout=subprocess.PIPE)


@contextmanager
def notebook(bench: ServedBench, amplifier: Path, out: Path) -> Iterator[Notebook]:
    """It drives its amplifier; it and its guardians are gone when the block ends."""
    kernel = Notebook(bench.file, amplifier, out)
    guardians: list[int] = []
    with kernel.process as process:  # its pipes are closed in the end
        try:
            assert process.stdout is not None
            assert process.stdout.readline() == "driven\n"
            guardians = kernel.guardians()
            assert bench.eyes.on() == EVERYTHING
            yield kernel
        finally:
            process.kill()
            wait_for(lambda: not any(map(is_there, guardians)), "the guardians gone")


def test_where_the_kernel_of_a_notebook_dies_everything_is_off_within_a_second(
    bench: ServedBench, amplifier: Path, tmp_path: Path
) -> None:
    with notebook(bench, amplifier, tmp_path / "runs") as kernel:
        kernel.process.kill()
        assert until_everything_is_off(bench) < SAFE_WITHIN_S
        assert wait_for(lambda: kernel.guardian_says("safe"), "the guardian's report")


def test_where_a_program_ends_without_closing_its_bench_everything_is_switched_off_and_confirmed(
    bench: ServedBench, amplifier: Path, tmp_path: Path
) -> None:
    with notebook(bench, amplifier, tmp_path / "runs") as kernel:
        assert kernel.process.stdin is not None
        kernel.process.stdin.close()
        assert kernel.process.wait(DEADLINE_S) == 0
        (ended,) = kernel.events("run ended")
        assert ended["safe"]
        assert ended["reason"] == "stopped, because the program has ended"
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
