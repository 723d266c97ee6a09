"""Real runs in separate processes, simulated instruments in another, and an observer independent of both."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchctl.archive.folder import RunFolder
from benchctl.guard.guardian.start import NAME
from benchctl.library import find
from tests.faults.forking import begin
from tests.ports import free_port

AMPLIFIER = "hx2150"
# The promise is a second. A guardian needs some hundredths; the rest is for a machine that is busy with other tests.
SAFE_WITHIN_S = 1.0
HOLDING = """\
benchctl: sequence 1
title: Hold a tone
limits: {supply_current: {above: 95 A, for: 500 ms}}
steps:
  - power_on: {voltage: 14.4 V, current_limit: 90 A}
  - set: {load: 4 ohm, frequency: 1 kHz, level: 300 mV}
  - hold: {for: 5 min}
  - power_off
"""
# Nothing here takes a tenth of this; it only ends the wait for a broken program.
DEADLINE_S = 60.0
# Role, question, and what the answer holds where it is on, if that is not a 1.
Question = tuple[str, str] | tuple[str, str, str]
# The question that tells whether something is on, for each output of the bench.
QUESTIONS: Mapping[str, Question] = {
    "generator": ("generator", "OUTP?"),
    "turn-on lead": ("supply", "INST:NSEL 2;:OUTP?"),
    "supply": ("supply", "INST:NSEL 1;:OUTP?"),
    "load": ("load", "ROUT:CLOS? (@101,102,103,104)"),
}


def wait_for(condition: Callable[[], Any], what: str, deadline_s: float = DEADLINE_S, every_s: float = 0.01) -> Any:
    """Poll until `condition` holds, and return what it gave."""
    end = time.monotonic() + deadline_s
    while not (found := condition()):
        if time.monotonic() > end:
            raise TimeoutError(f"{what}: not within {deadline_s:g} s")
        time.sleep(every_s)  # leaves the processor to the watched processes
    return found


def start(arguments: Sequence[str], state: Path, **options: Any) -> subprocess.Popen[str]:
    """Start benchctl; its files for the user are kept in the folder `state`."""
    environment = {**os.environ, "XDG_STATE_HOME": str(state)}
    return begin(arguments, env=environment, stdin=subprocess.DEVNULL, **options)


def start_in_terminal(arguments: Sequence[str], state: Path, terminal: int) -> subprocess.Popen[str]:
    """Start benchctl in a terminal, given by its inner end."""
    environment = {**os.environ, "XDG_STATE_HOME": str(state), "TERM": "xterm", "LINES": "40", "COLUMNS": "120"}
    return begin(arguments, terminal=True, env=environment, stdin=terminal, stdout=terminal, stderr=terminal)


class Eyes:
    """Looks at a bench's outputs over separate connections."""

    def __init__(self, sockets: Mapping[str, tuple[str, int]], questions: Mapping[str, Question] = QUESTIONS) -> None:
        self._questions = questions
        self._links = {}
        for role in ("generator", "supply", "load"):
            link = socket.create_connection(sockets[role], timeout=DEADLINE_S)
            link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._links[role] = link

    def on(self) -> set[str]:
        """The outputs that are on."""
        asked = self._questions.items()
        return {name for name, (role, question, *on) in asked if (on or ["1"])[0] in self.ask(role, question)}

    def everything_is_off(self) -> bool:
        """Whether none is."""
        return not self.on()

    def ask(self, role: str, question: str) -> str:
        """An instrument's answer."""
        link = self._links[role]
        link.sendall(question.encode("ascii") + b"\n")
        answer = b""
        while not answer.endswith(b"\n"):
            answer += link.recv(4096)
        return answer.decode("ascii").strip()

    def close(self) -> None:
        """Close the connections."""
        for link in self._links.values():
            link.close()


@dataclass(frozen=True)
class ServedBench:
    """A bench file, the process that serves its instruments, and an observer of their outputs."""

    file: Path
    process: subprocess.Popen[str]
    eyes: Eyes


@contextmanager
def served_bench(
    folder: Path, amplifier: str | Path = AMPLIFIER, text: str = "", questions: Mapping[str, Question] = QUESTIONS
) -> Iterator[ServedBench]:
    """The workshop bench, or that of `text`, at free ports, served by a separate process."""
    file = folder / "bench.yaml"
    file.write_text(_at_free_ports(text or find("benches", "workshop").read_text("utf-8")), encoding="utf-8")
    with ExitStack() as stack:
        arguments = ["simulate", str(file), "--amplifier", str(amplifier), "--json"]
        process = stack.enter_context(start(arguments, folder, stdout=subprocess.PIPE))
        stack.callback(process.terminate)
        assert process.stdout is not None
        listing = json.loads(process.stdout.readline())["instruments"]
        eyes = Eyes({role: tuple(each["socket"]) for role, each in listing.items()}, questions)
        stack.callback(eyes.close)
        yield ServedBench(file, process, eyes)


def quick_amplifier(folder: Path) -> Path:
    """The shipped amplifier, without a turn-on delay."""
    file = folder / "quick.yaml"
    text = find("amplifiers", "hx2150").read_text("utf-8")
    file.write_text(text.replace("delay: 2 s", "delay: 50 ms").replace("turn_on_delay: 1.5 s", "turn_on_delay: 20 ms"))
    return file


def until_everything_is_off(bench: ServedBench) -> float:
    """Wait until an independent observer finds nothing on; returns how long that took, s."""
    began = time.monotonic()
    wait_for(bench.eyes.everything_is_off, "everything off")
    return time.monotonic() - began


def _at_free_ports(text: str) -> str:
    address = re.compile(r"(TCPIP::127\.0\.0\.1::)\d+::SOCKET")
    return address.sub(lambda match: f"{match[1]}{free_port()}::SOCKET", text)


@dataclass(frozen=True)
class Listed:
    """A process as listed by the system: its name and its command line."""

    pid: int
    name: str
    command_line: str

    def is_matched(self, pattern: str, *, full: bool) -> bool:
        """Whether `pkill PATTERN`, or with `full` `pkill -f PATTERN`, would match it."""
        return re.search(pattern, self.command_line if full else self.name) is not None


def family(pid: int) -> list[Listed]:
    """A process that a test has started, and those that it has started itself: a test may kill only these."""
    try:
        folder = Path(f"/proc/{pid}")
        line = (folder / "cmdline").read_bytes().replace(b"\0", b" ").decode("utf-8")
        listed = Listed(pid, (folder / "comm").read_text("utf-8").strip(), line)
        started = [int(word) for file in folder.glob("task/*/children") for word in file.read_text().split()]
    except (FileNotFoundError, ProcessLookupError):
        return []  # it has ended meanwhile
    return [listed, *(each for child in started for each in family(child))]


class LiveRun:
    """A run in a separate process."""

    def __init__(
        self,
        sequence: str | Path,
        bench: Path,
        amplifier: str | Path,
        out: Path,
        output: int = subprocess.PIPE,
        *,
        more: Sequence[str] = (),
    ) -> None:
        arguments = ["run", str(sequence), "--bench", str(bench), "--amplifier", str(amplifier), "--out", str(out)]
        arguments += more
        self.out = out
        self._before = set(out.glob("*"))
        # In a separate session, like a separate terminal that it can lose.
        self.process = start(arguments, bench.parent, stdout=output, stderr=subprocess.STDOUT, start_new_session=True)

    @property
    def folder(self) -> RunFolder | None:
        """Its run folder, once there is one."""
        made = [path for path in self.out.glob("*") if path not in self._before]
        return RunFolder(made[0]) if made and (made[0] / "journal.jsonl").exists() else None

    def events(self, kind: str) -> list[dict[str, Any]]:
        """The whole events of a kind in its journal so far."""
        folder = self.folder
        if folder is None:
            return []
        # Each look reads the whole journal, again and again: only the lines that may be of this kind are taken apart.
        whole = folder.journal.read_bytes().splitlines(keepends=True)
        likely = [json.loads(line) for line in whole if kind.encode("utf-8") in line and line.endswith(b"\n")]
        return [event for event in likely if event["event"] == kind]

    def wait_for_event(self, kind: str, **fields: Any) -> dict[str, Any]:
        """Wait until its journal has an event with these fields."""

        def found() -> dict[str, Any] | None:
            self._check_alive(kind)
            matching = [event for event in self.events(kind) if fields.items() <= event.items()]
            return matching[0] if matching else None

        event: dict[str, Any] = wait_for(found, f"event {kind}", every_s=0.02)
        return event

    def guardians(self) -> list[int]:
        """Its guardians' processes, as they are now."""
        return [each.pid for each in family(self.process.pid) if each.name == NAME]

    def guardian_says(self, event: str) -> list[dict[str, Any]]:
        """What its guardians have reported of this kind."""
        folder = self.folder
        if folder is None or not (report := folder.path / "guardian.jsonl").exists():
            return []
        lines = [json.loads(line) for line in report.read_text("utf-8").splitlines()]
        return [line for line in lines if line["event"] == event]

    def end(self) -> tuple[int, str]:
        """Wait for its end; returns exit code and output."""
        printed, _ = self.process.communicate(timeout=DEADLINE_S)
        return self.process.returncode, printed

    def _check_alive(self, waiting_for: str) -> None:
        if self.process.poll() is not None and not self.events(waiting_for):
            raise AssertionError(f"it ended without '{waiting_for}':\n{self.end()[1]}")


@contextmanager
def live_run(
    sequence: str | Path, bench: Path, amplifier: str | Path, out: Path, more: Sequence[str] = ()
) -> Iterator[LiveRun]:
    """A run that is always over when the block ends; `more` arguments of its command."""
    run = LiveRun(sequence, bench, amplifier, out, more=more)
    try:
        yield run
    finally:
        run.process.kill()
        run.process.communicate()
