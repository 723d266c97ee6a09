"""How a guardian watches, acts and tries on, with wires that only note what they are told."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from queue import Empty, SimpleQueue
from types import SimpleNamespace

import pytest

from benchctl.guard.guardian import process
from benchctl.guard.guardian.orders import Orders, Word
from benchctl.guard.guardian.turn import Turn
from benchctl.instruments.links.settings import USUAL, LinkSettings
from benchctl.instruments.safe_part import SafePart
from tests.guard.switches import NOBODY

RAW = "TCPIP::127.0.0.1::5025::SOCKET"
SERIAL = "ASRL/dev/ttyUSB0::INSTR"


@dataclass
class Bench:
    """What its wires are told, and after how many questions each instrument says that it is off."""

    off_after: dict[str, int] = field(default_factory=dict)
    heard: list[str] = field(default_factory=list)
    patience_s: list[float] = field(default_factory=list)
    closed: list[str] = field(default_factory=list)
    asked: Callable[[int], None] = lambda _: None

    def wire(self, address: str, _settings: LinkSettings = USUAL) -> Wire:
        return Wire(self, address)


class Wire:
    """A wire to an instrument, which its address names."""

    def __init__(self, bench: Bench, name: str) -> None:
        self._bench = bench
        self._name = name
        self._questions = 0
        self.answer_s = 2.0

    def command_urgently(self, text: str) -> None:
        self._bench.heard.append(f"{self._name}: {text}")

    def ask_urgently(self, text: str) -> str:
        self._bench.heard.append(f"{self._name}: {text}")
        self._bench.patience_s.append(self.answer_s)
        self._questions += 1
        self._bench.asked(self._questions)
        return "1" if self._questions <= self._bench.off_after[self._name] else "0"

    def close(self) -> None:
        self._bench.closed.append(self._name)


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    """An instrument that is off at once unless a test says otherwise, and no pauses."""
    found = Bench()
    monkeypatch.setattr(process, "GuardianWire", found.wire)
    monkeypatch.setattr(process, "RETRY_PAUSE_S", 0.01)
    return found


def part(name: str, *, can_be_asked: bool = True) -> SafePart:
    return SafePart(name, name, "output off", ("OUTP OFF",), ("OUTP?",) if can_be_asked else ())


class Heard:
    """What a run says, word by word; None for nothing within the patience, which is noted."""

    def __init__(self, *words: str | None) -> None:
        self._words = list(words)
        self.patience_s: list[float | None] = []

    def get(self, timeout: float | None = None) -> str:
        self.patience_s.append(timeout)
        word = self._words.pop(0)
        if word is None:
            raise Empty
        return word


def ends_when_acted(
    parts: Iterable[SafePart], folder: Path, *, run_may_live: bool = False
) -> tuple[bool, list[dict[str, object]]]:
    """Whether the bench is safe, and the lines of the report."""
    orders = Orders(tuple(parts), str(folder / "guardian.jsonl"), NOBODY, "")
    is_safe = process._act(orders, process.Alarm("a test", run_may_live=run_may_live), SimpleQueue())
    return is_safe, [json.loads(line) for line in (folder / "guardian.jsonl").read_text("utf-8").splitlines()]


def test_after_it_has_acted_for_a_silent_run_it_waits_for_a_word_of_it_however_long_that_takes(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    acted: list[str] = []
    monkeypatch.setattr(process, "_act", lambda orders, alarm, inbox: not acted.append(alarm.reason))
    monkeypatch.setattr(process, "_tell", lambda word: None)
    heard = Heard(None, Word.BEAT, Word.BEAT, Word.DONE)
    orders = Orders((), "", NOBODY, "", patience_s=1.5)
    with Turn(tmp_path / "turn") as turn:
        assert process.stand_guard(orders, heard, turn)  # type: ignore[arg-type]
    assert heard.patience_s == [1.5, None, None, None]
    assert acted == ["the run has given no sign of life for 1.5 s", *["the run that had hung goes on"] * 2]


def test_everything_is_told_once_before_the_first_report_and_once_more_with_each_further_attempt(
    bench: Bench, tmp_path: Path
) -> None:
    bench.off_after = {"supply": 2}
    is_safe, lines = ends_when_acted([part("supply")], tmp_path)
    assert is_safe
    assert bench.heard == ["supply: OUTP OFF", "supply: OUTP?"] * 3
    assert [line["event"] for line in lines] == ["acting", "unsafe", "safe"]


def test_further_attempts_wait_longer_for_a_slow_answer(bench: Bench, tmp_path: Path) -> None:
    bench.off_after = {"supply": 1}
    ends_when_acted([part("supply")], tmp_path)
    assert bench.patience_s == [2.0, 10.0]


def test_the_links_are_let_go_of_when_it_has_acted(bench: Bench, tmp_path: Path) -> None:
    bench.off_after = {"generator": 0, "supply": 0}
    ends_when_acted([part("generator"), part("supply")], tmp_path)
    assert sorted(bench.closed) == ["generator", "supply"]


def test_it_gives_up_after_its_time_and_says_so(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(process, "GIVE_UP_S", 0.05)
    bench.off_after = {"supply": 10**9}
    is_safe, lines = ends_when_acted([part("supply")], tmp_path)
    assert not is_safe
    assert lines[-1]["event"] == "unsafe"
    assert "(giving up)" in capsys.readouterr().err


def test_where_nothing_else_is_open_what_cannot_be_asked_is_told_once_more_and_no_longer(
    bench: Bench, tmp_path: Path
) -> None:
    bench.off_after = {"generator": 0}
    is_safe, _ = ends_when_acted([part("generator"), part("supply", can_be_asked=False)], tmp_path)
    assert not is_safe
    assert [told for told in bench.heard if told.startswith("supply")] == ["supply: OUTP OFF"] * 2


def test_what_cannot_be_asked_does_not_end_the_attempts_on_what_can(bench: Bench, tmp_path: Path) -> None:
    bench.off_after = {"supply": 3}
    ends_when_acted([part("generator", can_be_asked=False), part("supply")], tmp_path)
    assert bench.heard.count("supply: OUTP?") == 4


def test_while_it_tries_on_it_takes_the_locks_as_soon_as_they_are_free(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Lock:
        tried = 0

        def __init__(self, _paths: object) -> None: ...

        def take_if_free(self) -> None:
            Lock.tried += 1

        def close(self) -> None: ...

    monkeypatch.setattr(process, "LateLock", Lock)
    bench.off_after = {"supply": 2}
    ends_when_acted([part("supply")], tmp_path)
    assert Lock.tried == 2


@pytest.mark.parametrize(("addresses", "loads"), [((RAW, RAW), False), ((RAW, SERIAL), True), ((SERIAL,), True)])
def test_what_a_link_needs_is_loaded_before_the_run_is_told_that_the_guardian_is_ready(
    addresses: tuple[str, ...], loads: bool, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    done = guarded(monkeypatch, tmp_path, addresses)
    assert done == (["loaded"] if loads else []) + ["ready"]


@pytest.mark.parametrize(("is_safe", "code"), [(True, 0), (False, 1)])
def test_a_guardian_that_could_not_make_the_bench_safe_ends_with_exit_code_1(
    is_safe: bool, code: int, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(process, "stand_guard", lambda *_: is_safe)
    assert guarded(monkeypatch, tmp_path, (RAW,), code=code) == ["ready"]


def guarded(monkeypatch: pytest.MonkeyPatch, folder: Path, addresses: tuple[str, ...], *, code: int = 0) -> list[str]:
    """What the guardian of a run that is over at once has done first."""
    did: list[str] = []
    parts = tuple(SafePart(f"each {place}", address, "off", (), ()) for place, address in enumerate(addresses))
    orders = Orders(parts, str(folder / "guardian.jsonl"), NOBODY, str(folder / "turn"))
    monkeypatch.setattr(process, "take_name", lambda: None)
    monkeypatch.setattr(process, "_listen_to_signals", lambda _: None)
    monkeypatch.setattr(process.sys, "stdin", SimpleNamespace(fileno=lambda: 0))
    monkeypatch.setattr(process, "lines_of", lambda _: iter([orders.to_line(), Word.DONE]))
    monkeypatch.setattr(process, "load_pyvisa", lambda: did.append("loaded"))
    monkeypatch.setattr(process, "_tell", did.append)
    assert process.main() == code
    return did
