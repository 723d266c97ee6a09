"""*SAV and *RCL: what an instrument saves, and what it does not do at a recall."""

from __future__ import annotations

from typing import NamedTuple

import pytest

from benchctl.documents.bench_file.faults import OutputStuck
from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.simulator.model.description import LoadDescription
from tests.simulator.benches import describe
from tests.simulator.talk import Room, Talk

ELECTRONIC = "electronic load"


class Case(NamedTuple):
    """An instrument: two different settings, and all questions about them."""

    first: str
    second: str
    queries: str


CASES = {
    "generator": Case(
        "FREQ 440;:VOLT:UNIT VPP;:VOLT 0.5;:LIST:VOLT 1,0.1;:LIST:DWEL 0.1;:LIST:COUN 3;:VOLT:MODE LIST",
        "FREQ 5000;:VOLT:MODE FIX;:VOLT:UNIT VRMS;:VOLT 0.2;:LIST:VOLT 2;:LIST:DWEL 0.2,0.3;:LIST:COUN INF",
        "FREQ?;:VOLT:UNIT?;:VOLT?;:LIST:VOLT?;:LIST:DWEL?;:LIST:COUN?;:VOLT:MODE?",
    ),
    "oscilloscope": Case(
        "CHAN1:DISP OFF;PROB 10;SCAL 2;OFFS 1;:TIM:REF LEFT;:TIM:SCAL 0.01;:ACQ:POIN 5000;:TIM:POS 0.02;"
        ":TRIG:EDGE:SOUR CHAN2;LEV 3;SLOP NEG;:TRIG:SWE NORM;:WAV:SOUR CHAN3;FORM WORD;BYT LSBF;MODE RAW;"
        ":DAT:SOU CH4;ENC RPB;WID 2;:ACQ:STOPA RUNST",
        "CHAN1:DISP ON;PROB 1;SCAL 3;OFFS 0;:TIM:REF CENT;:TIM:SCAL 0.02;:ACQ:POIN 800;:TIM:POS 0;"
        ":TRIG:EDGE:SOUR EXT;SLOP POS;:TRIG:SWE AUTO;:WAV:SOUR CHAN1;FORM BYTE;BYT MSBF;MODE NORM;"
        ":DAT:SOU CH1;ENC SRI;WID 1;:ACQ:STOPA SEQ",
        "CHAN1:DISP?;PROB?;SCAL?;OFFS?;:TIM:REF?;SCAL?;POS?;:ACQ:POIN?;:TRIG:EDGE:SOUR?;LEV?;SLOP?;:TRIG:SWE?;"
        ":WAV:SOUR?;FORM?;BYT?;MODE?;:DAT:SOU?;ENC?;WID?;:ACQ:STOPA?",
    ),
    "load": Case("ROUT:CLOS (@101,102)", "ROUT:OPEN (@101,102);CLOS (@103)", "ROUT:CLOS:STAT?"),
    ELECTRONIC: Case("RES 4", "RES 2", "RES?"),
    "supply": Case(
        "INST:NSEL 1;:VOLT 13;:CURR 60;:VOLT:PROT 16;PROT:STAT OFF;:CURR:PROT 70;PROT:STAT ON;"
        ":INST:NSEL 2;:VOLT 12;:CURR 0.5;:OUTP:PROT:WDOG:DEL 7",
        "INST:NSEL 2;:VOLT 5;:CURR 0.1;:INST:NSEL 1;:VOLT 14;:CURR 9;:VOLT:PROT 17;PROT:STAT ON;"
        ":CURR:PROT 9;PROT:STAT OFF;:OUTP:PROT:WDOG ON;:OUTP:PROT:WDOG:DEL 9",
        "INST:NSEL?;:VOLT?;:CURR?;:INST:NSEL 1;:VOLT?;:CURR?;:VOLT:PROT?;PROT:STAT?;:CURR:PROT?;PROT:STAT?;"
        ":INST:NSEL 2;:VOLT?;:CURR?;:OUTP:PROT:WDOG?;:OUTP:PROT:WDOG:DEL?",
    ),
    "thermometer": Case("UNIT:TEMP K", "UNIT:TEMP C", "UNIT:TEMP?"),
}


def room_for(name: str) -> tuple[Room, Talk]:
    """A bench with the instrument, and a client of it."""
    room = Room(describe(load=LoadDescription("electronic", channels=("A",)))) if name == ELECTRONIC else Room()
    return room, getattr(room, "load" if name == ELECTRONIC else name)


@pytest.mark.parametrize("name", CASES)
def test_every_setting_comes_back_from_its_own_memory(name: str) -> None:
    """IEEE 488.2 10.33 and 10.27."""
    _, instrument = room_for(name)
    case = CASES[name]
    told = {}
    for number, settings in ((0, case.first), (9, case.second)):
        instrument.tell(settings, f"*SAV {number}")
        told[number] = instrument.ask(case.queries)
    assert told[0] != told[9]
    for number in (0, 9, 0):
        instrument.tell(f"*RCL {number}")
        assert instrument.ask(case.queries) == told[number]
    assert instrument.errors() == []


@pytest.mark.parametrize("name", CASES)
def test_a_memory_that_is_not_there_is_out_of_range(name: str) -> None:
    """-222, SCPI-99 21.8: there are ten, from 0."""
    _, instrument = room_for(name)
    instrument.tell(CASES[name].first)
    before = instrument.ask(CASES[name].queries)
    for message in ("*SAV 10", "*SAV -1", "*RCL 10", "*RCL -1"):
        instrument.tell(message)
        assert instrument.errors() == [-222], message
    assert instrument.ask(CASES[name].queries) == before


@pytest.mark.parametrize("name", CASES)
def test_an_empty_memory_cannot_be_recalled(name: str) -> None:
    """-200: settings that nobody chose never replace the present ones."""
    _, instrument = room_for(name)
    instrument.tell(CASES[name].first, "*SAV 1")
    before = instrument.ask(CASES[name].queries)
    instrument.tell("*RCL 2")
    assert instrument.errors() == [-200]
    assert instrument.ask(CASES[name].queries) == before


@pytest.mark.parametrize("name", CASES)
@pytest.mark.parametrize("how", ["*RST", "power cycle"])
def test_memories_outlast_a_reset_and_a_loss_of_power(name: str, how: str) -> None:
    room, instrument = room_for(name)
    case = CASES[name]
    instrument.tell(case.first, "*SAV 3")
    before = instrument.ask(case.queries)
    if how == "*RST":
        instrument.tell("*RST")
    else:
        room.bench.instruments["load" if name == ELECTRONIC else name].device.restart()
    assert instrument.ask(case.queries) != before
    instrument.tell("*RCL 3")
    assert instrument.ask(case.queries) == before


def test_a_recall_leaves_every_output_of_the_supply_off_though_it_was_saved_on() -> None:
    room = Room()
    room.power_on()
    room.supply.tell("*SAV 1", "*RCL 1")
    assert room.supply.ask("INST:NSEL 1;:OUTP?;:VOLT?;:INST:NSEL 2;:OUTP?") == "0;1.44000000E+01;0"
    assert not room.physical_bench.connections.main_output.live


def test_a_recall_leaves_a_tripped_protection_tripped() -> None:
    """Only its own command clears it."""
    room = Room()
    room.supply.tell("VOLT 14;:CURR 90;*SAV 1", "VOLT:PROT 13;:OUTP ON")
    room.wait(1.0)
    assert room.supply.ask("VOLT:PROT:TRIP?") == "1"
    room.supply.tell("*RCL 1", "OUTP ON")
    assert room.supply.errors() == [-221]
    assert room.supply.ask("OUTP?") == "0"


def test_a_recall_silences_the_generator_and_starts_no_list() -> None:
    room = Room()
    room.burst(0.5, 20)
    room.generator.tell("*SAV 1", "*RCL 1")
    assert room.generator.ask("OUTP?;:VOLT:MODE?;:STAT:OPER:COND?") == "0;LIST;0"
    assert room.physical_bench.connections.drive.tone_at(room.now_s)[0].amplitude_v == 0.0


def test_a_recall_takes_the_electronic_load_off() -> None:
    room, load = room_for(ELECTRONIC)
    load.tell("RES 4;:INP ON;*SAV 1", "*RCL 1")
    assert load.ask("INP?;:RES?") == "0;4.00000000E+00"
    assert room.physical_bench.connections.loads.conductances_s() == (0.0, 0.0)


@pytest.mark.parametrize("wait_s", [0.0, 1.0])
def test_a_recall_leaves_no_record_that_was_taken_with_other_settings(wait_s: float) -> None:
    """Neither an unfinished one nor a whole one."""
    room = Room()
    room.oscilloscope.tell("*SAV 1", "CHAN1:SCAL 2", "SING")
    room.wait(wait_s)
    room.oscilloscope.tell("*RCL 1")
    room.wait(1.0)
    assert room.oscilloscope.ask("ACQ:COMP?;:STAT:OPER:COND?") == "0;0"
    room.oscilloscope.tell("WAV:DATA?")
    assert room.oscilloscope.errors() == [-230]


def test_an_output_that_sticks_says_so_after_a_recall_too() -> None:
    stuck = OutputStuck(kind="output stuck", instrument="supply", at_s=1.0)
    room = Room(bench=BenchSimulation(instrument_errors="none", faults=(stuck,)))
    room.power_on()
    room.bench.faults.hear("supply")
    room.supply.tell("*SAV 1", "*RCL 1")
    assert room.supply.ask("INST:NSEL 1;:OUTP?") == "1"
