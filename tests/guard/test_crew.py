"""Off is what an instrument says and what its current shows; what is missing is told while the rest goes on."""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence

import pytest

from benchctl.errors import NoAnswer
from benchctl.guard import safe_state
from benchctl.guard.confirmation import Confirmation, all_confirmed
from benchctl.guard.crew import LOOKS
from benchctl.guard.safe_state import ATTEMPTS, carry_out
from benchctl.instruments.safe_part import OffReading, SafePart

DEADLINE_S = 30.0
MEASURE = "MEAS:VOLT?;:MEAS:CURR?"
SUPPLY = SafePart("supply", "nowhere", "output off", ("OUTP OFF",), ("OUTP?",), reading=OffReading((MEASURE,), 0.1))
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
    """Takes commands, and keeps whoever asks waiting until it is let go."""

    def __init__(self) -> None:
        super().__init__("0;0")
        self.let_go = threading.Event()

    def ask_urgently(self, text: str) -> str:
        self.let_go.wait(DEADLINE_S)
        raise NoAnswer("no answer in time")


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


@pytest.mark.parametrize("reading", ["", "14.4", "14.4;0;0", "14.4;nothing", "14.4;9.91E37", "14.4;9.9E37"])
def test_a_current_that_cannot_be_read_confirms_nothing(reading: str) -> None:
    assert not off(reading).confirmed


def test_a_current_that_falls_while_it_is_looked_at_is_waited_for() -> None:
    rests: list[float] = []
    assert off("14.4;30", "9.0;40", "8.1;0.3", "8.0;0.02", rests=rests).confirmed
    assert len(rests) == 3


def test_a_current_that_stays_is_looked_at_for_a_bounded_time_and_the_output_told_to_go_off_again() -> None:
    rests: list[float] = []
    wire = Metered("14.4;11.8")
    carry_out([SUPPLY], {"supply": wire}, rest=rests.append)
    assert wire.heard.count("OUTP OFF") == ATTEMPTS
    assert wire.heard.count(MEASURE) == ATTEMPTS * LOOKS
    assert len(rests) == ATTEMPTS * (LOOKS - 1)


def test_where_a_guardian_goes_on_a_silent_instrument_is_waited_for_no_longer_than_until_it_is_late(
    silent: Silent, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(safe_state, "LATE_S", 0.05)
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


def test_where_a_guardian_goes_on_one_failure_is_enough_to_leave_the_rest_to_it(silent: Silent) -> None:
    """Were they waited for, this would last until the deadline of the silent one."""
    plan = [SafePart("load", "", "disconnected", ("INP OFF",), ("INP?",)), SUPPLY]
    told = carry_out(plan, {"load": _Refusing(), "supply": silent}, leaves_rest=True)
    assert not any(each.confirmed for each in told)
    assert not silent.let_go.is_set()


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
