"""Off is what an instrument says and what its current shows; what is missing is told while the rest goes on."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator, Sequence
from dataclasses import replace

import pytest

from benchctl.errors import NoAnswer, NotConnected
from benchctl.guard import crew, safe_state
from benchctl.guard.confirmation import Confirmation, all_confirmed
from benchctl.guard.crew import LOOKS
from benchctl.guard.safe_state import ATTEMPTS, carry_out
from benchctl.instruments.safe_part import SafePart
from tests.guard.crews import all_end, off_reading

DEADLINE_S = 30.0
MEASURE = "MEAS:VOLT?;:MEAS:CURR?"
SUPPLY = SafePart("supply", "nowhere", "output off", ("OUTP OFF",), ("OUTP?",), reading=off_reading(MEASURE, 0.1))
GENERATOR = SafePart("generator", "nowhere", "output off", ("OUTP OFF",), ("OUTP?",))


class Metered:
    """Says that it is off, and reads these volts and amperes in turn, the last of them for ever."""

    def __init__(self, *readings: str) -> None:
        self._readings = list(readings)
        self.heard: list[str] = []

    def command_urgently(self, text: str) -> None:
        self.heard.append(text)

    def ask_urgently(self, text: str) -> str:
        self.heard.append(text)
        if text != MEASURE:
            return "0"
        return self._readings.pop(0) if len(self._readings) > 1 else self._readings[0]


class Silent(Metered):
    """Takes commands, and keeps whoever asks waiting until it is let go; then it says this, or nothing."""

    def __init__(self, says: str = "") -> None:
        super().__init__("0;0")
        self.let_go = threading.Event()
        self._says = says

    def ask_urgently(self, text: str) -> str:
        self.let_go.wait(DEADLINE_S)
        if not self._says:
            raise NoAnswer("no answer in time")
        return self._says


@pytest.fixture
def silent() -> Iterator[Silent]:
    """An instrument that does not answer as long as the test lasts."""
    wire = Silent()
    yield wire
    wire.let_go.set()


def off(*readings: str, rests: list[float] | None = None) -> Confirmation:
    """What comes of a supply that reads so, in the time of a dry run."""
    rest = (rests if rests is not None else []).append
    (told,) = carry_out([SUPPLY], {"supply": Metered(*readings)}, rest=rest)
    return told


@pytest.mark.parametrize("reading", ["0.0;0.0", "14.4;0.05", "12.6;-0.1"])
def test_a_current_within_what_the_reading_may_be_off_by_confirms_whatever_holds_the_voltage_up(reading: str) -> None:
    assert off(reading).confirmed


def test_a_supply_that_says_it_is_off_and_goes_on_giving_current_is_not_confirmed_and_the_sentence_says_why() -> None:
    told = off("14.4;11.8")
    assert not told.confirmed
    assert told.detail == "it says that it is off, but reads 11.8 A at 14.4 V, where off reads less than 0.1 A"


def test_without_threads_to_be_had_a_dry_run_waits_for_a_current_to_fall_nevertheless(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refuse(_thread: threading.Thread) -> None:
        raise RuntimeError("can't start new thread")

    monkeypatch.setattr(threading.Thread, "start", refuse)
    monkeypatch.setattr(crew, "LOOK_EVERY_S", 0.001)
    assert off("14.4;30", "8.0;0.02").confirmed


@pytest.mark.parametrize("reading", ["", "14.4", "14.4;0;0", "14.4;nothing", "14.4;9.91E37", "14.4;9.9E37"])
def test_a_current_that_cannot_be_read_confirms_nothing(reading: str) -> None:
    assert not off(reading).confirmed


def test_a_current_that_falls_while_it_is_looked_at_is_waited_for() -> None:
    rests: list[float] = []
    assert off("14.4;30", "9.0;40", "8.1;0.3", "8.0;0.02", rests=rests).confirmed
    assert len(rests) == 3


def test_in_real_time_a_current_has_its_time_to_fall_before_the_output_is_told_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(crew, "LOOK_EVERY_S", 0.02)

    class Falling(Metered):
        """Gives current for a twentieth of a second after it was looked at first."""

        fallen_at = 0.0

        def ask_urgently(self, text: str) -> str:
            self.heard.append(text)
            if text != MEASURE:
                return "0"
            self.fallen_at = self.fallen_at or time.monotonic() + 0.05
            return "9;0" if time.monotonic() > self.fallen_at else "9;4"

    supply = Falling("")
    assert all_confirmed(carry_out([SUPPLY], {"supply": supply}))
    assert supply.heard.count("OUTP OFF") == 1


def test_a_current_that_stays_is_looked_at_for_a_bounded_time_and_the_output_told_to_go_off_again() -> None:
    rests: list[float] = []
    wire = Metered("14.4;11.8")
    carry_out([SUPPLY], {"supply": wire}, rest=rests.append)
    assert wire.heard.count("OUTP OFF") == ATTEMPTS
    assert wire.heard.count(MEASURE) == ATTEMPTS * LOOKS
    assert len(rests) == ATTEMPTS * (LOOKS - 1)


def test_a_part_that_was_left_to_the_guardian_is_not_told_again_by_the_run(
    silent: Silent, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(safe_state, "LATE_S", 0.05)
    with all_end():
        carry_out([GENERATOR], {"generator": silent}, leaves_rest=True)
        silent.let_go.set()
    assert silent.heard == ["OUTP OFF"]


def test_what_was_refused_at_first_is_said_as_long_as_nothing_else_is_known() -> None:
    hurried, let_go = threading.Event(), threading.Event()

    class Refusing(Metered):
        """Says that it is on, and when it is asked again, nothing."""

        def ask_urgently(self, text: str) -> str:
            if self.heard.count("OUTP OFF") == 1:
                return "1"
            hurried.set()
            let_go.wait(DEADLINE_S)
            raise NoAnswer("no answer in time")

    (told,) = carry_out([GENERATOR], {"generator": Refusing("")}, hurried)
    let_go.set()
    assert told.detail == "it answers '1' to OUTP?"


def test_a_command_that_was_not_taken_is_said_as_long_as_nothing_else_is_known() -> None:
    hurried, let_go = threading.Event(), threading.Event()

    class Unreachable(Metered):
        def command_urgently(self, text: str) -> None:
            raise NotConnected("nothing answers")

        def ask_urgently(self, text: str) -> str:
            hurried.set()
            let_go.wait(DEADLINE_S)
            raise NoAnswer("no answer in time")

    (told,) = carry_out([GENERATOR], {"generator": Unreachable("")}, hurried)
    let_go.set()
    assert told.detail == "nothing answers"


def test_a_hurry_in_a_dry_run_leaves_no_thread_behind_that_waits_for_a_current_to_fall() -> None:
    hurried = threading.Event()
    plan = [SUPPLY, SafePart("load", "", "disconnected", ("INP OFF",), ("INP?",))]
    wires = {"supply": Metered("14.4;11.8"), "load": _Refusing()}
    with all_end():
        told = carry_out(plan, wires, hurried, tell=lambda _: hurried.set(), rest=lambda _: None)
    assert not any(each.confirmed for each in told)


def test_where_a_guardian_goes_on_a_silent_instrument_is_waited_for_no_longer_than_until_it_is_late(
    silent: Silent, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(safe_state, "LATE_S", 0.05)
    monkeypatch.setattr(safe_state, "GRACE_S", 2 * DEADLINE_S)
    alarms: list[Confirmation] = []
    wires = {"generator": silent, "supply": Metered("0;0")}
    told = carry_out([GENERATOR, SUPPLY], wires, tell=alarms.append, leaves_rest=True)
    assert [each.confirmed for each in told] == [False, True]
    (alarm,) = alarms
    assert alarm.alarm.startswith("NOT YET CONFIRMED: generator: output off (no answer yet). By hand, now: pull its")


def test_the_first_failure_is_told_while_another_instrument_is_still_waited_for(silent: Silent) -> None:
    alarms: list[Confirmation] = []
    failed = threading.Event()

    def tell(confirmation: Confirmation) -> None:
        alarms.append(confirmation)
        failed.set()

    told: list[Sequence[Confirmation]] = []
    wires = {"generator": Metered("0;0"), "supply": silent, "load": _Refusing()}
    plan = [GENERATOR, SUPPLY, SafePart("load", "", "disconnected", ("INP OFF",), ("INP?",))]
    worker = threading.Thread(target=lambda: told.append(carry_out(plan, wires, tell=tell)))
    worker.start()
    assert failed.wait(DEADLINE_S)
    assert worker.is_alive()
    assert [(each.instrument, each.detail) for each in alarms] == [("load", "it answers '1' to INP?")]
    silent.let_go.set()
    worker.join(DEADLINE_S)
    assert [each.confirmed for each in told[0]] == [True, False, False]


class _Refusing(Metered):
    def __init__(self) -> None:
        super().__init__("0;0")

    def ask_urgently(self, text: str) -> str:
        return "1"


def test_in_a_dry_run_one_looks_after_the_other_and_then_time_passes_so_that_two_runs_are_alike() -> None:
    heard: list[str] = []

    class Leisurely(Metered):
        """Needs a moment for each answer, in which another could be quicker."""

        def __init__(self, name: str, moment_s: float) -> None:
            super().__init__("9;4", "9;3", "9;0")
            self._name = name
            self._moment_s = moment_s

        def ask_urgently(self, text: str) -> str:
            threading.Event().wait(self._moment_s)
            heard.append(f"{self._name}: {text}")
            return super().ask_urgently(text)

    plan = [replace(SUPPLY, instrument=name) for name in ("one", "other")]
    wires = {"one": Leisurely("one", 0.05), "other": Leisurely("other", 0.0)}
    assert all_confirmed(carry_out(plan, wires, rest=lambda _: heard.append("time")))
    looks = [f"one: {MEASURE}", f"other: {MEASURE}"]
    assert heard == ["one: OUTP?", looks[0], "other: OUTP?", looks[1], "time", *looks, "time", *looks]


def test_in_a_dry_run_no_time_passes_while_an_instrument_is_being_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Even where the computer is so busy that an answer takes longer than all patience."""
    monkeypatch.setattr(safe_state, "DRY_PATIENCE_S", 0.01)
    monkeypatch.setattr(crew, "DRY_PATIENCE_S", 0.01)
    slow, supply = Silent(says="0"), Metered("9;4", "9;0")
    rests: list[float] = []
    told: list[Sequence[Confirmation]] = []
    wires = {"generator": slow, "supply": supply}
    worker = threading.Thread(target=lambda: told.append(carry_out([GENERATOR, SUPPLY], wires, rest=rests.append)))
    worker.start()
    while MEASURE not in supply.heard:
        worker.join(0.001)
    worker.join(0.1)  # time enough to let time pass
    assert rests == []
    slow.let_go.set()
    worker.join(DEADLINE_S)
    assert all_confirmed(told[0])
    assert len(rests) == 1


def test_where_nobody_goes_on_with_it_a_slow_instrument_is_waited_for_after_another_has_failed_which_is_told_once(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(safe_state, "GRACE_S", 0.0)
    monkeypatch.setattr(safe_state, "LOOK_UP_S", 0.001)
    slow, failed = Silent(says="0"), threading.Event()
    told: list[Sequence[Confirmation]] = []
    alarms: list[str] = []

    def tell(confirmation: Confirmation) -> None:
        alarms.append(confirmation.instrument)
        failed.set()

    wires = {"generator": slow, "load": _Refusing()}
    plan = [GENERATOR, SafePart("load", "", "disconnected", ("INP OFF",), ("INP?",))]
    worker = threading.Thread(target=lambda: told.append(carry_out(plan, wires, tell=tell)))
    worker.start()
    assert failed.wait(DEADLINE_S)
    worker.join(0.05)  # many looks, each of which could tell of it again or give up
    slow.let_go.set()
    worker.join(DEADLINE_S)
    assert [each.confirmed for each in told[0]] == [True, False]
    assert alarms == ["load"]


def test_where_a_guardian_goes_on_one_failure_is_enough_to_leave_the_rest_to_it(
    silent: Silent, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(safe_state, "LATE_S", 2 * DEADLINE_S)
    monkeypatch.setattr(safe_state, "GRACE_S", 0.05)
    plan = [SafePart("load", "", "disconnected", ("INP OFF",), ("INP?",)), SUPPLY]
    told = carry_out(plan, {"load": _Refusing(), "supply": silent}, leaves_rest=True)
    assert [each.detail for each in told] == ["it answers '1' to INP?", "no answer yet"]


def test_a_journal_that_cannot_be_written_is_told_once_everything_is_off() -> None:
    supply = Metered("0;0")

    def fail(_: Confirmation) -> None:
        raise OSError("no room left")

    with pytest.raises(OSError, match="no room"):
        carry_out(
            [SafePart("load", "", "off", ("INP OFF",), ("INP?",)), SUPPLY],
            {"load": _Refusing(), "supply": supply},
            tell=fail,
        )
    assert supply.heard == ["OUTP OFF", "OUTP?", MEASURE]


def test_nobody_is_late_in_a_dry_run(monkeypatch: pytest.MonkeyPatch) -> None:
    """However busy the computer is: its time stands still."""
    monkeypatch.setattr(safe_state, "LATE_S", 0.0)
    alarms: list[Confirmation] = []
    assert all_confirmed(
        carry_out([SUPPLY], {"supply": Metered("9;4", "9;0")}, tell=alarms.append, rest=lambda _: None)
    )
    assert alarms == []
