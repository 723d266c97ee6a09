"""*TRG: what an instrument does that waits for a trigger, and the errors of the others.

IEEE 488.2 10.37; SCPI-99 volume 2, chapter 24, and 21.8 for the errors.
"""

from __future__ import annotations

import pytest

from tests.simulator.talk import Room, Talk

WITHOUT_TRIGGER = ("load", "supply", "thermometer")
WAITING, SWEEPING = 32, 8
BY_BUS = ("LIST:VOLT 1,0.1;:LIST:DWEL 0.02,0.08;:LIST:COUN 2", "VOLT:MODE LIST", "OUTP ON", "TRIG:SOUR BUS")


@pytest.fixture
def room() -> Room:
    """A fresh bench."""
    return Room()


def condition(talk: Talk) -> int:
    return int(talk.ask("STAT:OPER:COND?"))


def test_the_generator_plays_its_list_from_the_trigger_on(room: Room) -> None:
    """Two repetitions of 0.1 s, from 1.0 s and not from INITiate on."""
    generator, drive = room.generator, room.physical_bench.connections.drive
    generator.tell(*BY_BUS, "INIT")
    room.wait(1.0)
    assert condition(generator) == WAITING
    assert not drive.list_playing(1.0)
    room.generator.tell("*TRG")
    assert condition(generator) == SWEEPING
    assert drive.tone_at(1.01)[0].amplitude_v == pytest.approx(2**0.5)
    assert drive.tone_at(1.05)[0].amplitude_v == pytest.approx(0.1 * 2**0.5)
    room.wait(0.21)
    assert condition(generator) == 0
    assert generator.errors() == []


def test_each_initiate_takes_one_trigger(room: Room) -> None:
    """-211: before INITiate, while it plays, and after its end nothing waits."""
    generator = room.generator
    generator.tell(*BY_BUS)
    room.generator.tell("*TRG")
    assert generator.errors() == [-211]
    for _ in range(2):
        generator.tell("INIT")
        room.generator.tell("*TRG")
        assert generator.errors() == []
        room.generator.tell("*TRG")
        assert generator.errors() == [-211]
        room.wait(0.3)


def test_a_trigger_from_another_source_than_the_chosen_is_ignored(room: Room) -> None:
    room.generator.tell(*BY_BUS, "TRIG:SOUR IMM", "INIT")
    assert condition(room.generator) == SWEEPING
    room.wait(1.0)
    room.generator.tell("*TRG")
    assert room.generator.errors() == [-211]
    assert condition(room.generator) == 0


def test_trigger_immediate_goes_past_the_source_once(room: Room) -> None:
    room.generator.tell(*BY_BUS, "INIT", "TRIG")
    assert condition(room.generator) == SWEEPING
    room.generator.tell("TRIG:IMM")
    assert room.generator.errors() == [-211]


def test_a_waiting_list_starts_once_its_source_is_always_satisfied(room: Room) -> None:
    room.generator.tell(*BY_BUS, "INIT", "TRIG:SOUR IMM")
    assert condition(room.generator) == SWEEPING
    assert room.generator.ask("TRIG:SOUR?") == "IMM"


def test_a_waiting_list_cannot_be_initiated_again(room: Room) -> None:
    """-213 init ignored."""
    room.generator.tell(*BY_BUS, "INIT", "INIT")
    assert room.generator.errors() == [-213]


@pytest.mark.parametrize("ends", ["ABOR", "VOLT:MODE FIX", "*RST", "*SAV 1;*RCL 1"])
def test_what_ends_a_list_ends_its_wait_too(room: Room, ends: str) -> None:
    room.generator.tell(*BY_BUS, "INIT", ends)
    assert condition(room.generator) == 0
    room.generator.tell("*TRG")
    assert room.generator.errors() == [-211]


def test_the_wait_for_a_trigger_is_a_pending_operation(room: Room) -> None:
    """IEEE 488.2 12.5: *OPC marks the end of the list, not the end of the wait."""
    generator = room.generator
    generator.tell(*BY_BUS, "*CLS", "INIT", "*OPC")
    room.wait(10.0)
    assert generator.ask("*ESR?") == "0"
    generator.tell("*TRG")
    assert generator.ask("*ESR?") == "0"
    room.wait(0.21)
    assert generator.ask("*ESR?") == "1"


def test_the_oscilloscope_takes_its_record_though_its_own_trigger_does_not_come(room: Room) -> None:
    scope = room.oscilloscope
    scope.tell("TRIG:EDGE:SOUR CHAN1", "TRIG:EDGE:LEV 1", "TRIG:SWE NORM", "TIM:SCAL 0.001", "SING")
    room.wait(1.0)
    assert scope.ask("ACQ:COMP?") == "0"
    room.oscilloscope.tell("*TRG")
    assert scope.errors() == []
    room.wait(0.02)
    assert scope.ask("ACQ:COMP?") == "1"


def test_the_oscilloscope_ignores_a_trigger_while_no_record_waits_for_one(room: Room) -> None:
    """-211: first it is stopped, then it fills a record that already has its trigger."""
    scope = room.oscilloscope
    room.oscilloscope.tell("*TRG")
    assert scope.errors() == [-211]
    scope.tell("TRIG:EDGE:SOUR CHAN1", "TRIG:SWE NORM", "TIM:SCAL 0.1", "SING")
    room.oscilloscope.tell("*TRG")
    room.oscilloscope.tell("*TRG")
    assert scope.errors() == [-211]


@pytest.mark.parametrize("role", WITHOUT_TRIGGER)
def test_an_instrument_with_nothing_to_trigger_has_no_such_command(room: Room, role: str) -> None:
    """IEEE 488.2 10.37: *TRG belongs to the trigger capability."""
    talk: Talk = getattr(room, role)
    talk.tell("*TRG")
    assert talk.errors() == [-113]
