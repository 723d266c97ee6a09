"""The function generator's commands."""

from __future__ import annotations

import numpy as np
import pytest

from benchctl.scpi.blocks import encode_block
from benchctl.simulator.model.description import GeneratorDescription, Spec
from tests.simulator.benches import describe
from tests.simulator.talk import Room


@pytest.fixture
def room() -> Room:
    """A fresh bench."""
    return Room()


def test_it_wakes_silent(room: Room) -> None:
    assert room.generator.ask("OUTP?;:FREQ?;:VOLT?;:VOLT:MODE?") == "0;1.00000000E+03;1.00000000E-01;FIX"


@pytest.mark.parametrize(
    ("command", "query", "answer"),
    [
        ("SOURce:FREQuency:CW 2.5 kHz", "FREQ?", 2500.0),
        ("FREQ MAX", "FREQ?", 1e6),
        ("VOLT 250 MV", "SOUR:VOLT:LEV:IMM:AMPL?", 0.25),
        ("VOLT MAX", "VOLT?", 7.0),
        ("LIST:COUN INF", "LIST:COUN?", 9.9e37),
        ("LIST:DWEL 20E-3,0.48", "LIST:DWEL:POIN?", 2),
    ],
)
def test_settings_are_read_back_in_base_units(room: Room, command: str, query: str, answer: float) -> None:
    room.generator.tell(command)
    assert float(room.generator.ask(query)) == pytest.approx(answer)
    assert room.generator.errors() == []


@pytest.mark.parametrize(
    ("command", "error"),
    [
        ("VOLT 7.1", -222),
        ("FREQ -1", -222),
        ("FREQ 1 V", -131),
        ("FUNC TRI", -224),
        ("VOLT:MODE SWE", -224),
        ("OUTP PERHAPS", -224),
        ("LIST:VOLT", -109),
        ("SOUR:VOLTA 1", -113),
    ],
)
def test_what_it_cannot_do_is_an_error_and_changes_nothing(room: Room, command: str, error: int) -> None:
    before = room.generator.ask("FREQ?;:VOLT?;:OUTP?")
    room.generator.tell(command)
    assert room.generator.errors() == [error]
    assert room.generator.ask("FREQ?;:VOLT?;:OUTP?") == before


def test_a_level_can_be_given_peak_to_peak(room: Room) -> None:
    """1 V RMS of a sine is 2·sqrt(2) V from peak to peak."""
    room.generator.tell("VOLT:UNIT VPP", "VOLT 2.8284271")
    room.generator.tell("VOLT:UNIT VRMS")
    assert float(room.generator.ask("VOLT?")) == pytest.approx(1.0, abs=1e-6)


def test_a_list_plays_from_init_until_abort(room: Room) -> None:
    room.generator.tell("VOLT 0.5", "OUTP ON", "LIST:VOLT 1,0.1", "LIST:DWEL 0.02,0.48", "LIST:COUN INF")
    room.generator.tell("VOLT:MODE LIST")
    drive = room.physical_bench.connections.drive
    assert drive.tone_at(0.0)[0].amplitude_v == pytest.approx(0.5 * 2**0.5), "not before INITiate"
    room.wait(1.0)
    room.generator.tell("INIT")
    assert drive.tone_at(1.01)[0].amplitude_v == pytest.approx(2**0.5)
    assert drive.tone_at(1.4)[0].amplitude_v == pytest.approx(0.1 * 2**0.5)
    room.generator.tell("ABOR")
    assert drive.tone_at(1.01)[0].amplitude_v == pytest.approx(0.5 * 2**0.5)
    assert room.generator.errors() == []


def test_init_of_a_playing_list_is_ignored_with_an_error(room: Room) -> None:
    """-213, SCPI-99 volume 2, 21.8."""
    room.burst(0.5, 20)
    room.generator.tell("INIT")
    assert room.generator.errors() == [-213]


def test_lists_of_different_length_do_not_start(room: Room) -> None:
    """-226, SCPI-99 volume 2, 21.8."""
    room.generator.tell("LIST:VOLT 1,0.1,0.2", "LIST:DWEL 0.1,0.2", "VOLT:MODE LIST", "INIT")
    assert room.generator.errors() == [-226]


def test_a_list_too_fast_to_be_one_does_not_start(room: Room) -> None:
    """-221; its steps would take longer to compute than to play."""
    room.generator.tell("LIST:VOLT 1,0.1", "LIST:DWEL 1E-5", "VOLT:MODE LIST", "INIT")
    assert room.generator.errors() == [-221]


def test_a_list_that_ends_completes_its_operation(room: Room) -> None:
    room.generator.tell("LIST:VOLT 1,0.1", "LIST:DWEL 0.1", "LIST:COUN 2", "VOLT:MODE LIST", "*CLS", "INIT", "*OPC")
    assert room.generator.ask("*ESR?") == "0"
    assert room.generator.ask("STAT:OPER:COND?") == "8"
    room.wait(0.41)
    assert room.generator.ask("*ESR?") == "1"
    assert room.generator.ask("STAT:OPER:COND?") == "0"


def test_what_comes_out_is_off_by_its_own_error() -> None:
    """With a given gain error of 0.3 %; the setting still reads back as it was sent."""
    from benchctl.documents.bench_file.simulation import BenchSimulation

    generator = GeneratorDescription(level=Spec(0.005), frequency=Spec(20e-6))
    room = Room(describe(bench=BenchSimulation(errors={"generator level": 0.003}), generator=generator))
    room.play(0.5)
    assert room.physical_bench.connections.drive.level_v == pytest.approx(0.5 * 1.003)
    assert float(room.generator.ask("VOLT?")) == 0.5


def test_it_plays_square_waves_and_the_cycles_of_its_user(room: Room) -> None:
    """A trace of 3 and 4 cycles at 100 Hz a cycle is 300 and 400 Hz; the level is that of a sine with the same peak."""
    at = np.arange(2000) / 2000
    samples = 0.5 * np.sin(2 * np.pi * 3 * at) + 0.5 * np.sin(2 * np.pi * 4 * at)
    block = encode_block((samples * 32767).round().astype(">i2").tobytes()).decode("latin-1")
    room.generator.tell("FREQ 100", "VOLT 1", "FUNC SQU", "OUTP ON")
    drive = room.physical_bench.connections.drive
    square = drive.tone_at(0.0)[0]
    assert square.wave is not None
    assert square.amplitude_v * square.wave.at(np.array([0.25]))[0] == pytest.approx(2**0.5)
    room.generator.tell(f"TRAC two,{block}", "FUNC:USER two", "FUNC USER")
    tones = drive.tone_at(0.0)[0]
    assert tones.wave is not None
    assert tones.wave.multiples.tolist() == [3, 4]
    assert np.abs(tones.amplitude_v * tones.wave.phasors) == pytest.approx([2**-0.5, 2**-0.5], rel=1e-4)
    assert room.generator.errors() == []


def test_a_trace_that_was_never_sent_cannot_be_chosen(room: Room) -> None:
    room.generator.tell("FUNC:USER nothing")
    assert room.generator.errors() == [-256]
