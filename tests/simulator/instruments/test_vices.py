"""What any simulated instrument may lack or do slowly."""

from __future__ import annotations

import pytest

from benchctl.documents.bench_file.simulated_instruments import MissingWord, SupplySimulation
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.model.description import SupplyDescription, SupplyOutputDescription
from tests.simulator.benches import describe
from tests.simulator.talk import Room, Talk

OUTPUTS = (SupplyOutputDescription("main", 1, 20.0, 120.0), SupplyOutputDescription("remote", 2, 20.0, 1.0))


def supply(**vices: object) -> SupplyDescription:
    return SupplyDescription(OUTPUTS, simulated=SupplySimulation.model_validate(vices))


def room_with(**vices: object) -> Room:
    return Room(supply=supply(**vices))


# -- what it lacks ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize("word", ["*CLS", "*ESR?", "*OPC?", "*RST", "*STB?", "STAT:PRES"])
def test_a_word_that_it_lacks_is_unknown_to_it(word: MissingWord) -> None:
    """SCPI-99 21.8.9: -113, undefined header."""
    assert room_with().supply.ask(f"{word};:SYST:ERR:CODE?").endswith("0")
    assert room_with(lacks=[word]).supply.ask(f"{word};:SYST:ERR:CODE?") == ""
    lacking = room_with(lacks=[word]).supply
    lacking.tell(word)
    assert lacking.errors() == [-113]


def test_without_an_error_queue_nothing_answers_for_it() -> None:
    room = room_with(error_queue="no")
    assert [room.supply.ask(f"SYST:ERR{end}?") for end in ("", ":NEXT", ":COUN")] == ["", "", ""]
    assert room.supply.ask("SYST:VERS?") == "1999.0"


def test_an_identity_may_be_one_field_or_none() -> None:
    assert room_with().supply.ask("*IDN?").count(",") == 3
    assert "," not in room_with(identity="one field").supply.ask("*IDN?")
    assert room_with(identity="one field").supply.ask("*IDN?")
    assert room_with(identity="none").supply.ask("*IDN?") == ""


# -- what takes time --------------------------------------------------------------------------------------------


def test_each_answer_takes_its_time() -> None:
    room = room_with(answers_after=0.3)
    assert room.supply.ask("OUTP?") == ""
    room.wait(0.29)
    assert room.supply.later() == ""
    room.wait(0.01)
    assert room.supply.later() == "0"


def test_questions_are_answered_one_after_another() -> None:
    room = room_with(answers_after=0.3)
    assert room.supply.ask("OUTP?\n*STB?") == ""
    room.wait(0.3)
    assert room.supply.later() == "0"
    room.wait(0.3)
    assert room.supply.later() == "0"


def test_a_command_takes_no_time_unless_the_instrument_is_busy_after_it() -> None:
    room = room_with(answers_after=0.3)
    room.supply.tell("INST:NSEL 1", "VOLT 14.4")
    room.supply.ask("VOLT?")
    room.wait(0.3)
    assert float(room.supply.later()) == pytest.approx(14.4)


def test_after_a_change_it_acts_on_nothing_while_it_is_busy() -> None:
    room = room_with(busy_after_setting=2.0)
    room.supply.tell("INST:NSEL 1")
    assert room.supply.ask("OUTP ON\nOUTP?") == ""
    room.wait(1.9)
    assert room.supply.later() == ""
    assert not room.physical_bench.connections.main_output.on
    room.wait(0.1)
    room.supply.later()
    assert room.physical_bench.connections.main_output.on
    room.wait(2.0)
    assert room.supply.later() == "1"


def test_a_reset_takes_its_time() -> None:
    room = room_with(reset_takes=5.0, busy_after_setting=0.1)
    assert room.supply.ask("*RST\n*STB?") == ""
    room.wait(4.9)
    assert room.supply.later() == ""
    room.wait(0.1)
    assert room.supply.later() == "0"


def test_where_time_stands_still_while_a_client_waits_the_answer_comes_at_once_and_the_wait_is_told() -> None:
    """Two questions at 0.3 s each, and two seconds after a change."""
    now_s = 10.0
    description = describe(supply=supply(answers_after=0.3, busy_after_setting=2.0))
    bench = SimulatedBench(description, lambda: now_s, holds_answers=False)
    from benchctl.scpi.device.conversation import Conversation

    talk = Talk(Conversation(bench.devices["supply"]))
    assert [talk.ask("OUTP?"), talk.ask("OUTP?")] == ["0", "0"]
    assert bench.owed_s("supply") == pytest.approx(0.6)
    talk.tell("INST:NSEL 1")
    assert bench.owed_s("supply") == pytest.approx(2.6)
    now_s += 2.0
    assert bench.owed_s("supply") == pytest.approx(0.6)
    assert bench.owed_s("generator") == 0.0


def test_what_has_no_answer_is_acknowledged() -> None:
    room = room_with(acknowledge="OK")
    assert room.supply.ask("INST:NSEL 1") == "OK"
    assert room.supply.ask("OUTP?") == "0"
