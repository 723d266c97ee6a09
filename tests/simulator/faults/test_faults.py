"""Every fault of the bench that a bench file can ask for, seen by a client of one instrument."""

from __future__ import annotations

import socket
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from benchctl.documents.bench_file.faults import (
    BenchFault,
    ClockJump,
    LateAnswer,
    LinkFault,
    OutputStuck,
    RelayStuck,
    SensorOpen,
    SupplyDrift,
)
from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.faults.disturbed import Disturbances
from tests.simulator.benches import describe


class Room:
    """A bench with faults, and a clock that the test turns."""

    def __init__(self, *faults: BenchFault, seed: int = 2150) -> None:
        self.now_s = 0.0
        simulation = BenchSimulation(seed=seed, instrument_errors="none", faults=faults)
        self.bench = SimulatedBench(describe(bench=simulation), lambda: self.now_s)
        devices = {role: instrument.device for role, instrument in self.bench.instruments.items()}
        self.converse = Disturbances(devices, self.bench.faults)
        self._links: dict[str, Conversation] = {}

    def say(self, role: str, message: str) -> bytes:
        """Send one line on the instrument's only link; returns what is sent back at once."""
        link = self._links.setdefault(role, self.converse(role))
        link.receive(message.encode() + b"\n")
        return link.collect()

    def wait(self, role: str, seconds: float) -> bytes:
        """Let time pass; returns what is sent by itself."""
        self.now_s += seconds
        self._links[role].resume()
        return self._links[role].collect()

    def relink(self, role: str) -> None:
        """A new link in place of a broken one."""
        del self._links[role]


def on_supply(kind: Any, **when: Any) -> LinkFault:
    return LinkFault(kind=kind, instrument="supply", **(when or {"exchange": 2}))


SET, ASK = "INST:NSEL 1;:SOUR:VOLT 14.4", "INST:NSEL 1;:SOUR:VOLT?"
TRUE = b"1.44000000E+01\n"


def answers_of(room: Room, count: int) -> list[bytes]:
    return [room.say("supply", ASK) for _ in range(count)]


# -- what happens to an answer ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("kind", "answer"),
    [
        ("no answer", b""),
        ("truncated number", b"1.44000\n"),
        ("not a number", b"9.91E37\n"),  # SCPI-99 volume 1, 7.2.1.5
        ("over range", b"9.9E37\n"),  # SCPI-99 volume 1, 7.2.1.4
        ("wrong unit", b"1.44000000E+04\n"),
        ("unit in the answer", b"1.44000000E+01 V\n"),
    ],
)
def test_a_fault_of_an_answer_strikes_one_exchange_and_only_on_its_way_out(kind: str, answer: bytes) -> None:
    """The second exchange has the fault, the third does not, and the instrument's setting is unchanged."""
    room = Room(on_supply(kind))
    room.say("supply", SET)
    assert answers_of(room, 2) == [answer, TRUE]


def test_a_fault_of_numbers_waits_for_a_number() -> None:
    """A state, an identity or a list of errors has no unit that could be wrong."""
    room = Room(on_supply("wrong unit"))
    room.say("supply", SET)
    assert room.say("supply", "OUTP?") == b"0\n"
    assert room.say("supply", "SYST:ERR?") == b'0,"No error"\n'
    assert room.say("supply", ASK) == b"1.44000000E+04\n"


@pytest.mark.parametrize(("kind", "struck"), [("not a number", b"9.91E37"), ("wrong unit", b"1.44000000E+04")])
def test_a_fault_of_numbers_strikes_one_of_those_in_a_compound_answer(kind: str, struck: bytes) -> None:
    """One of the numbers, and never the state beside them."""
    whole = TRUE.strip()
    answers = set()
    for seed in range(20):
        room = Room(on_supply(kind), seed=seed)
        room.say("supply", SET)
        answers.add(room.say("supply", f"{ASK};:OUTP?;:SOUR:VOLT?"))
    assert answers == {b";".join(parts) + b"\n" for parts in ((struck, b"0", whole), (whole, b"0", struck))}


def test_a_compound_answer_is_truncated_at_its_end() -> None:
    room = Room(on_supply("truncated number"))
    room.say("supply", SET)
    assert room.say("supply", f"{ASK};:SOUR:VOLT?") == TRUE.strip() + b";1.44000\n"


def test_garbage_ends_in_a_line_feed_and_is_the_same_for_the_same_seed() -> None:
    """So a client that waits for the end of a line gets nonsense, not silence; and a run can be repeated."""

    def garbage(seed: int) -> bytes:
        room = Room(on_supply("garbage", exchange=1), seed=seed)
        return room.say("supply", ASK)

    assert garbage(1).endswith(b"\n")
    assert garbage(1) == garbage(1) != garbage(2)
    assert TRUE not in garbage(1)


def test_a_stale_value_is_the_last_answer_to_the_same_question() -> None:
    """A frozen reading is from before the change, and never from another question."""
    room = Room(on_supply("stale value", exchange=4, times=2))
    room.say("supply", SET)
    assert room.say("supply", ASK) == TRUE
    room.say("supply", "INST:NSEL 1;:SOUR:VOLT 10")
    room.say("supply", "OUTP?")  # never asked before: there is no old answer
    assert answers_of(room, 1) == [TRUE]
    assert room.say("supply", "INST:NSEL 1;:SOUR:VOLT 11") == b""
    assert room.say("supply", ASK) == b"1.00000000E+01\n"


def test_another_model_answers_to_the_identity_only() -> None:
    """The second field of *IDN? (IEEE 488.2 10.14) names the model."""
    room = Room(on_supply("another model", exchange=1, times=1))
    assert room.say("supply", "OUTP?") == b"0\n"
    assert room.say("supply", "*IDN?").split(b",")[1] == b"Another model"
    assert room.say("supply", "*IDN?").split(b",")[1] == b"Dc supply"


# -- late, without reaction, broken -----------------------------------------------------------------------------


def late(**more: Any) -> LateAnswer:
    return LateAnswer(kind="late answer", instrument="supply", exchange=2, **more)


def test_a_late_answer_leaves_before_the_next_question_is_answered() -> None:
    """A client fails here if it takes everything that comes for the answer to its last question."""
    room = Room(late())
    room.say("supply", SET)
    assert room.say("supply", ASK) == b""
    assert room.say("supply", "OUTP?") == TRUE + b"0\n"


def test_a_late_answer_leaves_by_itself_when_its_time_has_come() -> None:
    room = Room(late(by_s=3.0))
    room.say("supply", SET)
    assert room.say("supply", ASK) == b""
    assert room.wait("supply", 2.9) == b""
    assert room.wait("supply", 0.1) == TRUE


def test_a_deaf_instrument_neither_answers_nor_acts() -> None:
    """If only the answer were missing, the command would have been obeyed."""
    room = Room(on_supply("deaf", exchange=2, times=2))
    room.say("supply", SET)
    assert room.say("supply", "INST:NSEL 1;:SOUR:VOLT 10") == b""
    assert answers_of(room, 2) == [b"", TRUE]


def test_a_dropped_connection_ends_before_the_message_is_acted_on_and_another_link_works() -> None:
    room = Room(on_supply("connection dropped"))
    room.say("supply", SET)
    with pytest.raises(ConnectionAbortedError):
        room.say("supply", "INST:NSEL 1;:SOUR:VOLT 10")
    room.relink("supply")
    assert answers_of(room, 1) == [TRUE]


def test_an_instrument_can_be_unreachable_for_a_time() -> None:
    room = Room(on_supply("connection dropped", at_s=1.0, for_s=5.0))
    assert room.say("supply", "OUTP?") == b"0\n"
    for now_s in (1.0, 5.9):
        room.now_s = now_s
        with pytest.raises(ConnectionAbortedError):
            room.say("supply", "OUTP?")
        room.relink("supply")
    room.now_s = 6.0
    assert room.say("supply", "OUTP?") == b"0\n"


def test_a_power_cycle_loses_settings_breaks_every_link_and_sets_the_power_on_bit() -> None:
    """IEEE 488.2 11.5.1: bit 7 of the standard event register means power on."""
    room = Room(on_supply("power cycle", exchange=4))
    other = room.converse("supply")
    room.say("supply", SET)
    assert int(room.say("supply", "*ESR?")) & 0x80
    assert int(room.say("supply", "*ESR?")) == 0
    with pytest.raises(ConnectionResetError):
        room.say("supply", ASK)
    other.receive(b"OUTP?\n")
    with pytest.raises(ConnectionResetError):
        other.collect()
    room.relink("supply")
    assert int(room.say("supply", "*ESR?")) & 0x80
    assert room.say("supply", ASK) != TRUE


def test_a_reset_in_mid_block_gives_half_of_it_and_then_breaks_the_link() -> None:
    room = Room(LinkFault(kind="reset in mid-block", instrument="oscilloscope", exchange=1))
    room.say("oscilloscope", "CHAN1:DISP ON;:ACQ:POIN 1000;:TRIG:SWE AUTO;:SING")
    room.wait("oscilloscope", 1.0)
    assert room.say("oscilloscope", "ACQ:COMP?") == b"1\n"
    room.say("oscilloscope", "WAV:FORM WORD;:WAV:SOUR CHAN1")
    half = room.say("oscilloscope", "WAV:DATA?")
    length = int(half[2 : 2 + int(half[1:2])])
    assert 0 < len(half) < length
    with pytest.raises(ConnectionResetError):
        room.say("oscilloscope", "*IDN?")


def test_an_error_queue_that_fills_ends_in_the_overflow_entry() -> None:
    """SCPI-99 21.8.1: the newest entry of a full queue becomes -350."""
    room = Room(on_supply("error queue filling", exchange=1))
    codes = room.say("supply", "SYST:ERR:CODE:ALL?").split(b",")
    assert codes[0] == b"-310"
    assert codes[-1].strip() == b"-350"


# -- the bench itself -------------------------------------------------------------------------------------------


def powered(room: Room) -> Room:
    room.say("supply", "INST:NSEL 1;:VOLT 14.4;:CURR 110;:OUTP ON")
    room.say("supply", "INST:NSEL 2;:VOLT 12;:CURR 0.5;:OUTP ON")
    room.now_s += 2.0
    return room


def test_an_output_that_sticks_stays_on_and_says_so() -> None:
    """It was on when it stuck; the other output still obeys."""
    room = powered(Room(OutputStuck(kind="output stuck", instrument="supply", at_s=1.0)))
    for number, answer in ((1, b"1\n"), (2, b"0\n")):
        room.say("supply", f"INST:NSEL {number};:OUTP OFF")
        assert room.say("supply", f"INST:NSEL {number};:OUTP?") == answer
    room.say("supply", "*RST")
    assert room.bench.physical_bench.connections.main_output.live


def test_a_generator_that_sticks_goes_on_driving() -> None:
    room = Room(OutputStuck(kind="output stuck", instrument="generator", exchange=2))
    room.say("generator", "OUTP ON")
    room.say("generator", "OUTP OFF")
    assert room.say("generator", "OUTP?") == b"1\n"


def test_a_stuck_relay_neither_opens_nor_closes() -> None:
    room = Room(
        RelayStuck(kind="relay stuck", relay=101, exchange=2), RelayStuck(kind="relay stuck", relay=103, exchange=2)
    )
    room.say("load", "ROUT:CLOS (@101,102)")
    room.say("load", "ROUT:OPEN:ALL")
    room.say("load", "ROUT:CLOS (@103,104)")
    assert room.say("load", "ROUT:CLOS? (@101:104)") == b"1,0,0,1\n"


def test_an_open_sensor_reads_as_no_number() -> None:
    room = Room(SensorOpen(kind="sensor open", at_s=1.0, for_s=2.0))
    readings = []
    for now_s in (0.5, 1.5, 3.5):
        room.now_s = now_s
        readings.append(float(room.say("thermometer", "MEAS:TEMP? (@101)")))
    assert readings == pytest.approx([23.0, 9.91e37, 23.0], abs=0.2)


def test_a_drifting_supply_leaves_its_setting_at_the_rate_asked_for() -> None:
    """By -3 V over 10 s: -1.5 V after 5 s, and no more than -3 V; the setting reads back as it was set."""
    room = powered(Room(SupplyDrift(kind="supply drift", by_v=-3.0, over_s=10.0, at_s=2.0)))
    readings = []
    for now_s in (2.0, 7.0, 12.0, 60.0):
        room.now_s = now_s
        readings.append(float(room.say("supply", "INST:NSEL 1;:MEAS:VOLT?")))
    assert readings == pytest.approx([14.4, 12.9, 11.4, 11.4], abs=0.05)
    assert float(room.say("supply", "INST:NSEL 1;:VOLT?")) == pytest.approx(14.4)


def test_a_clock_jump_lets_time_pass_on_the_bench_that_nobody_waited_for() -> None:
    """In five minutes at idle the heatsink warms; the client's clock has not moved."""
    room = powered(Room(ClockJump(kind="clock jump", by_s=300.0, exchange=4)))
    before = float(room.say("thermometer", "MEAS:TEMP? (@101)"))
    assert float(room.say("thermometer", "MEAS:TEMP? (@101)")) > before + 0.5
    assert room.bench.physical_bench.time_s == pytest.approx(302.0)


def test_a_clock_that_jumps_back_stands_still() -> None:
    """No instrument goes back in time; it waits until its earlier time is reached again."""
    room = powered(Room(ClockJump(kind="clock jump", by_s=-5.0, at_s=10.0)))
    times = []
    for now_s in (9.9, 10.0, 14.0, 16.0):
        room.now_s = now_s
        room.say("supply", "OUTP?")
        times.append(room.bench.physical_bench.time_s)
    assert times == pytest.approx([9.9, 9.9, 9.9, 11.0])


# -- when it begins, and how often ------------------------------------------------------------------------------


def test_a_probable_fault_strikes_about_as_often_as_it_says_and_alike_for_the_same_seed() -> None:
    """A tenth of 1,000 answers is lost: 100, within four standard deviations of 9.5 (binomial)."""

    def lost(seed: int) -> list[int]:
        room = Room(on_supply("no answer", probability=0.1), seed=seed)
        return [index for index, answer in enumerate(answers_of(room, 1000)) if not answer]

    assert len(lost(1)) == pytest.approx(100, abs=38)
    assert lost(1) == lost(1) != lost(2)


def test_each_instrument_counts_its_own_exchanges() -> None:
    room = Room(on_supply("no answer", exchange=2))
    for _ in range(3):
        assert room.say("generator", "OUTP?") == b"0\n"
    assert [room.say("supply", "OUTP?") for _ in range(3)] == [b"0\n", b"", b"0\n"]


def test_the_bench_knows_how_often_each_fault_struck() -> None:
    stuck = OutputStuck(kind="output stuck", instrument="supply", at_s=0)
    room = Room(on_supply("no answer", exchange=1, times=3), stuck)
    answers_of(room, 5)
    assert room.bench.faults.struck == {"supply: no answer": 3, "supply: output stuck": 1}


# -- over a socket ----------------------------------------------------------------------------------------------


@contextmanager
def served(*faults: BenchFault) -> Iterator[tuple[str, int]]:
    with SimulatedBench(describe(bench=BenchSimulation(faults=faults)), lambda: 0.0) as bench:
        yield bench.start()["supply"]


def link_to(address: tuple[str, int]) -> socket.socket:
    return socket.create_connection(address, timeout=5.0)


def ask(link: socket.socket, message: bytes) -> bytes:
    link.sendall(message + b"\n")
    return link.recv(1000)


def test_an_instrument_that_hangs_up_sends_an_end_of_file_and_takes_the_next_client() -> None:
    with served(on_supply("connection dropped")) as address, link_to(address) as link:
        assert [ask(link, b"OUTP?"), ask(link, b"OUTP?")] == [b"0\n", b""]
        with link_to(address) as another:
            assert ask(another, b"OUTP?") == b"0\n"


def test_an_instrument_that_lost_its_power_resets_the_link() -> None:
    with served(on_supply("power cycle")) as address, link_to(address) as link:
        assert ask(link, b"OUTP?") == b"0\n"
        with pytest.raises(ConnectionResetError):
            ask(link, b"OUTP?")
