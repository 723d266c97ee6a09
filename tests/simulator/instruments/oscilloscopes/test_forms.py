"""Each form of oscilloscope as its users know it: what it is told, what it answers, what it refuses."""

from __future__ import annotations

import struct
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from benchctl.scpi.device.conversation import Conversation
from benchctl.simulator.instruments.oscilloscopes.models import MODELS
from benchctl.simulator.instruments.oscilloscopes.oscilloscope import SimulatedOscilloscope
from tests.simulator.talk import Room, Talk

LEVEL_V = 0.5
PEAK_V = LEVEL_V * 31.6 * 4.0 / 4.02 * 2**0.5  # gain 31.6, 4 ohm behind 20 mohm
PROBE = 20


class Desk(Room):
    """A bench with a tone at the first input, and an oscilloscope of one form."""

    def __init__(self, form: str, bits: int = 8, **more: object) -> None:
        super().__init__()
        described = self.physical_bench.description.oscilloscope
        assert described is not None
        described = replace(described, bits=bits, **more)  # type: ignore[arg-type]
        simulated = SimulatedOscilloscope(self.physical_bench, lambda: self.now_s, described, MODELS[form])
        self.oscilloscope = Talk(Conversation(simulated.device))
        self.power_on(101, 102)
        self.play(LEVEL_V)
        self.wait(1.0)

    def tell(self, *messages: str) -> None:
        """To the oscilloscope, which finds no fault with them."""
        self.oscilloscope.tell(*messages)
        assert self.oscilloscope.errors() == [], messages

    def ask(self, question: str) -> str:
        return self.oscilloscope.ask(question)


def assert_is_the_tone(volts_at_input: NDArray[np.float64], interval_s: float) -> None:
    """1 kHz at the peak that amplifier and probe give it, zero and rising at the trigger, within what 8 bits show."""
    volts = volts_at_input * PROBE
    times_s = np.arange(len(volts)) * interval_s
    expected = PEAK_V * np.sin(2 * np.pi * 1000.0 * times_s)
    assert np.max(np.abs(volts - expected)) < 0.05 * PEAK_V


def times_of(preamble: str) -> list[float]:
    return [float(field) for field in preamble.split(",")]


# -- bytes in chunks -------------------------------------------------------------------------------------------------


def of_main_time_base(desk: Desk, samples: int = 12_000, scale_s: float = 0.001) -> None:
    desk.tell("CHAN1:DISP ON", "CHAN1:PROB 1", "CHAN1:SCAL 0.5", "CHAN1:OFFS 0", "TRIG:EDGE:SOUR EXT")
    desk.tell("TRIG:EDGE:SLOP POS", "TRIG:SWE NORM", f"ACQ:MDEP {samples}", f"TIM:MAIN:SCAL {scale_s}")
    desk.tell(f"TIM:MAIN:OFFS {5 * scale_s}", "WAV:MODE RAW", "WAV:FORM BYTE", "WAV:SOUR CHAN1", "SING")


def test_a_long_record_comes_in_pieces_of_250000_bytes() -> None:
    desk = Desk("bytes_in_chunks", memory=2_000_000)
    of_main_time_base(desk, 1_200_000, 0.005)
    desk.wait(1.0)
    pieces = []
    for first in range(1, 1_200_001, 250_000):
        desk.tell(f"WAV:STAR {first}", f"WAV:STOP {min(first + 249_999, 1_200_000)}")
        pieces.append(desk.oscilloscope.ask_block("WAV:DATA?"))
    assert [len(piece) for piece in pieces] == [250_000] * 4 + [200_000]
    preamble = times_of(desk.ask("WAV:PRE?"))
    assert preamble[2:6] == [1_200_000, 1, pytest.approx(0.05 / 1_200_000, rel=1e-6), pytest.approx(0.0, abs=1e-9)]
    codes = np.frombuffer(b"".join(pieces), "u1").astype(float)
    assert_is_the_tone((codes - preamble[8] - preamble[9]) * preamble[7], preamble[4])


def test_more_than_a_piece_at_once_is_refused() -> None:
    desk = Desk("bytes_in_chunks", memory=2_000_000)
    of_main_time_base(desk, 1_200_000)
    desk.wait(1.0)
    desk.tell("WAV:STAR 1", "WAV:STOP 250001")
    assert desk.ask("WAV:DATA?") == ""
    assert desk.oscilloscope.errors() == [-222]


def test_a_length_beside_the_table_is_refused() -> None:
    desk = Desk("bytes_in_chunks")
    desk.oscilloscope.tell("ACQ:MDEP 10000")
    assert desk.oscilloscope.errors() == [-224]


def test_a_time_base_between_two_steps_becomes_the_next_longer() -> None:
    desk = Desk("bytes_in_chunks")
    desk.tell("TIM:MAIN:SCAL 0.003")
    assert float(desk.ask("TIM:MAIN:SCAL?")) == 0.005


def test_the_state_is_a_word_and_comes_a_little_late() -> None:
    """A program that asks at once takes the last record's end for this one's."""
    desk = Desk("bytes_in_chunks")
    of_main_time_base(desk, scale_s=0.02)
    assert desk.ask("TRIG:STAT?") == "STOP"
    desk.wait(0.06)
    assert desk.ask("TRIG:STAT?") == "TD"
    desk.wait(0.3)
    assert desk.ask("TRIG:STAT?") == "STOP"


def test_from_50_ms_a_division_it_waits_for_no_trigger() -> None:
    desk = Desk("bytes_in_chunks")
    desk.generator.tell("OUTP OFF")
    of_main_time_base(desk, scale_s=0.02)
    desk.tell("TRIG:EDGE:SOUR CHAN1", "TRIG:EDGE:LEV 1", "SING")
    desk.wait(10.0)
    assert desk.ask("TRIG:STAT?") == "WAIT"
    desk.tell("TIM:MAIN:SCAL 0.05", "SING")
    desk.wait(0.51)
    assert desk.ask("TRIG:STAT?") == "STOP"


# -- fields ----------------------------------------------------------------------------------------------------------


def test_answers_begin_with_their_header_until_it_is_switched_off() -> None:
    desk = Desk("high_byte_first")
    desk.tell("CH1:SCA 0.5")
    assert desk.ask("CH1:SCA?") == "CH1:SCA 5.00000000E-01"
    assert desk.ask("ACQ:STATE?") == "ACQ:STATE 0"
    desk.tell("HEAD OFF")
    assert desk.ask("CH1:SCA?") == "5.00000000E-01"
    desk.oscilloscope.tell("*RST")
    assert desk.ask("CH1:SCA?").startswith("CH1:SCA ")


def of_fields(desk: Desk, *, position: str) -> None:
    desk.tell("SEL:CH1 ON", "CH1:SCA 0.5", "CH1:OFFS 0", "HOR:SCA 0.001", "HOR:RECO 10000", position)
    desk.tell("TRIG:A:EDGE:SOU EXT", "TRIG:A:EDGE:SLO RIS", "TRIG:A:MOD NORM", "DAT:SOU CH1", "ACQ:STOPA SEQ")
    desk.tell("ACQ:STATE RUN")
    desk.wait(0.005)


def test_signed_words_come_high_byte_first_and_the_state_is_1_while_it_runs() -> None:
    desk = Desk("high_byte_first", bits=12)
    desk.tell("HEAD OFF", "DAT:ENC RIB", "DAT:WID 2", "DAT:STAR 1", "DAT:STOP 10000", "CH1:PRO:GAIN 1")
    of_fields(desk, position="HOR:POS 0")
    assert desk.ask("ACQ:STATE?") == "1"
    desk.wait(0.1)
    assert desk.ask("ACQ:STATE?") == "0"
    step, zero, offset = (float(desk.ask(f"WFMO:{field}?")) for field in ("YMU", "YOF", "YZE"))
    codes = np.frombuffer(desk.oscilloscope.ask_block("CURV?"), ">i2")
    assert_is_the_tone((codes - zero) * step + offset, float(desk.ask("WFMO:XIN?")))


def test_without_being_told_so_it_sends_the_first_2500_samples_only() -> None:
    desk = Desk("high_byte_first")
    desk.tell("HEAD OFF")
    of_fields(desk, position="HOR:POS 0")
    desk.wait(0.1)
    assert len(desk.oscilloscope.ask_block("CURV?")) == 2500


def test_the_trigger_stands_at_a_part_of_the_record_in_per_cent() -> None:
    desk = Desk("high_byte_first")
    desk.tell("HEAD OFF")
    of_fields(desk, position="HOR:POS 20")
    desk.wait(0.1)
    assert float(desk.ask("WFMO:XZE?")) == pytest.approx(-0.002)


def test_a_probe_told_as_gain_multiplies_what_is_shown() -> None:
    desk = Desk("high_byte_first")
    desk.tell("HEAD OFF", "CH1:PRO:GAIN 0.05", "CH1:SCA 10")
    assert float(desk.ask("CH1:SCA?")) == 10.0
    desk.tell("CH1:PRO:GAIN 1")
    assert float(desk.ask("CH1:SCA?")) == 0.5
    desk.oscilloscope.tell("CH1:PRO 20")
    assert desk.oscilloscope.errors() == [-113]


@pytest.mark.parametrize(("form", "set_to"), [("high_byte_first", 10_000), ("byte_order_asked", 1_000)])
def test_a_length_beside_the_table_becomes_the_next_in_one_direction(form: str, set_to: int) -> None:
    desk = Desk(form)
    desk.tell("HOR:RECO 9000")
    assert int(desk.ask("HOR:RECO?").split()[-1]) == set_to


@pytest.mark.parametrize(("bits", "width"), [(8, 1), (12, 2)])
def test_width_and_order_are_the_instruments_and_must_be_asked(bits: int, width: int) -> None:
    desk = Desk("byte_order_asked", bits=bits)
    of_fields(desk, position="HOR:POS 0")
    desk.wait(0.1)
    assert desk.ask("WFMO:BYT_N?") == str(width)
    assert desk.ask("WFMO:BYT_O?") == "MSB"
    codes = np.frombuffer(desk.oscilloscope.ask_block("CURV?"), f">i{width}")
    assert_is_the_tone((codes - float(desk.ask("WFMO:YOF?"))) * float(desk.ask("WFMO:YMU?")), 1e-6)


def test_a_time_base_between_two_steps_becomes_the_next_shorter() -> None:
    desk = Desk("byte_order_asked")
    desk.tell("HOR:SCA 0.003")
    assert float(desk.ask("HOR:SCA?")) == 0.002


# -- whole record by its range ---------------------------------------------------------------------------------------


def of_range(desk: Desk, form: str = "WORD") -> None:
    desk.tell("CHAN1:DISP ON", "CHAN1:PROB 1", "CHAN1:SCAL 0.5", "CHAN1:OFFS 0", "TIM:RANG 0.01", "TIM:DEL 0")
    desk.tell("TRIG:EDGE:SOUR EXT", "TRIG:SWE NORM", f"WAV:FORM {form}", "WAV:BYT LSBF", "WAV:SOUR CHAN1")


def test_it_answers_opc_only_when_the_record_is_whole() -> None:
    desk = Desk("waits_for_opc")
    of_range(desk)
    assert desk.ask("SING;*OPC?") == ""
    desk.wait(0.1)
    assert desk.ask("") == "1"


@pytest.mark.parametrize(("bits", "width"), [(8, 1), (12, 2)])
def test_words_are_asked_and_bytes_sent_where_the_converter_has_no_more_than_8_bits(bits: int, width: int) -> None:
    desk = Desk("waits_for_opc", bits=bits)
    of_range(desk)
    desk.tell("SING")
    desk.wait(0.1)
    preamble = times_of(desk.ask("WAV:PRE?"))
    codes = np.frombuffer(desk.oscilloscope.ask_block("WAV:DATA?"), f"<u{width}")
    assert len(codes) == preamble[2] == 100_000, "the longest of the table that 50 MSa/s can fill in 10 ms"
    assert_is_the_tone((codes - preamble[8] - preamble[9]) * preamble[7], preamble[4])


def test_the_length_follows_the_time_base_and_cannot_be_set() -> None:
    desk = Desk("low_byte_zero")
    for range_s, samples in ((0.001, 12_000), (0.1, 120_000)):  # 50 MSa/s, and a memory of a million
        of_range(desk)
        desk.tell(f"TIM:RANG {range_s}", "SING")
        desk.wait(0.5)
        assert int(desk.ask("ACQ:POIN?")) == samples
    desk.oscilloscope.tell("ACQ:POIN 1000")
    assert desk.oscilloscope.errors() == [-113]


def test_the_low_byte_of_a_word_may_be_always_0() -> None:
    desk = Desk("low_byte_zero")
    of_range(desk)
    desk.tell("SING")
    desk.wait(0.1)
    preamble = times_of(desk.ask("WAV:PRE?"))
    codes = np.frombuffer(desk.oscilloscope.ask_block("WAV:DATA?"), "<u2")
    assert set(codes & 0xFF) == {0}
    assert_is_the_tone((codes - preamble[8] - preamble[9]) * preamble[7], preamble[4])


def test_a_bit_of_the_operation_register_is_set_while_it_runs() -> None:
    desk = Desk("low_byte_zero")
    of_range(desk)
    desk.tell("SING")
    assert int(desk.ask("STAT:OPER:COND?")) & 8
    desk.wait(0.1)
    assert not int(desk.ask("STAT:OPER:COND?")) & 8


def test_it_takes_few_probe_ratios() -> None:
    desk = Desk("low_byte_zero")
    desk.tell("CHAN1:PROB 10")
    desk.oscilloscope.tell("CHAN1:PROB 20")
    assert desk.oscilloscope.errors() == [-224]


# -- the others ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("order", "kind"), [("LSBF", "<f4"), ("MSBF", ">f4")])
def test_floats_are_volts_and_need_no_scale(order: str, kind: str) -> None:
    desk = Desk("floats")
    desk.tell("CHAN1:STAT ON", "CHAN1:SCAL 0.5", "TIM:SCAL 0.001", "TIM:HOR:POS 0.005", "ACQ:POIN 5000")
    desk.tell("TRIG:SOUR EXT", "TRIG:MODE NORM", "FORM REAL,32", f"FORM:BORD {order}", "RUNS")
    assert desk.ask("ACQ:STAT?") == "RUN"
    desk.wait(0.1)
    assert desk.ask("ACQ:STAT?") == "COMP"
    start_s, stop_s, points, each = times_of(desk.ask("CHAN1:DATA:HEAD?"))
    assert (start_s, points, each) == (0.0, 5000, 1)
    volts = np.frombuffer(desk.oscilloscope.ask_block("CHAN1:DATA?"), kind)
    assert_is_the_tone(volts.astype(np.float64), (stop_s - start_s) / (points - 1))


def test_the_source_stands_in_the_question() -> None:
    desk = Desk("source_in_question")
    desk.tell("CHAN1:DISP ON", "CHAN1:SCAL 0.5", "TIM:REF LEFT", "TIM:SCAL 0.001", "TIM:POS 0", "ACQ:POIN 12000")
    desk.tell("TRIG:EDGE:SOUR EXT", "TRIG:SWE NORM", "WAV:FORM WORD", "WAV:BYT LSBF", "SING")
    desk.wait(0.1)
    preamble = times_of(desk.ask("WAV:PRE? CHAN1"))
    codes = np.frombuffer(desk.oscilloscope.ask_block("WAV:DATA? CHAN1"), "<u2")
    assert_is_the_tone((codes - preamble[8] - preamble[9]) * preamble[7], preamble[4])
    desk.oscilloscope.tell("WAV:SOUR CHAN1")
    assert desk.oscilloscope.errors() == [-113]


def of_descriptor(desk: Desk) -> None:
    desk.tell("C1:TRA ON", "C1:ATTN 1", "C1:VDIV 500MV", "C1:OFST 0V", "TDIV 1MS", "MSIZ 70K", "TRDL -5MS")
    desk.tell("TRSE EDGE,SR,EX,HT,OFF", "TRMD SINGLE")


def test_gain_and_offset_are_floats_at_fixed_places_of_a_descriptor() -> None:
    desk = Desk("binary_descriptor")
    desk.tell("CHDR OFF")
    of_descriptor(desk)
    desk.wait(0.1)
    head, _, descriptor = desk.ask("C1:WF? DESC").partition("#9000000346")
    assert head == "DESC,"
    found = descriptor.encode("latin-1")
    assert len(found) == 346
    gain, offset = struct.unpack_from(">ff", found, 156)
    (interval_s,) = struct.unpack_from(">f", found, 176)
    head, _, codes = desk.ask("C1:WF? DAT2").partition("#9000070000")
    assert head == "DAT2,"
    assert_is_the_tone(np.frombuffer(codes.encode("latin-1"), "i1") * gain - offset, interval_s)


def test_a_block_keeps_its_header_and_a_number_its_unit_until_headers_are_off() -> None:
    desk = Desk("binary_descriptor")
    of_descriptor(desk)
    desk.wait(0.1)
    assert desk.ask("C1:VDIV?") == "C1:VDIV 5.00000000E-01V"
    assert desk.ask("C1:WF? DAT2").startswith("C1:WF DAT2,#9000070000")
    assert desk.ask("MSIZ?") == "MSIZ 70K"


def test_a_part_of_the_codes_is_sent_where_that_is_asked_for() -> None:
    desk = Desk("binary_descriptor")
    of_descriptor(desk)
    desk.wait(0.1)
    whole = desk.ask("C1:WF? DAT2").partition("#9000070000")[2]
    desk.tell("WFSU SP,0,NP,1000,FP,500")
    assert desk.ask("C1:WF? DAT2").partition("#9000001000")[2] == whole[500:1500]


def test_a_new_record_is_told_once() -> None:
    desk = Desk("binary_descriptor")
    desk.tell("CHDR OFF")
    of_descriptor(desk)
    assert desk.ask("INR?") == "0"
    desk.wait(0.1)
    assert desk.ask("INR?") == "1"
    assert desk.ask("INR?") == "0"


def test_what_no_form_knows_is_an_error_in_each() -> None:
    for form in MODELS:
        desk = Desk(form)
        desk.oscilloscope.tell("HOUSE:KEEP 1")
        assert desk.oscilloscope.errors() == [-113], form
