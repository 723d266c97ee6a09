"""The oscilloscope: trigger, record, transfer, in both of its command sets."""

from __future__ import annotations

import numpy as np
import pytest

from tests.simulator.talk import Room


@pytest.fixture
def room() -> Room:
    """A bench whose amplifier plays into 4 ohm."""
    room = Room()
    room.power_on(101, 102)
    return room


def test_a_tone_is_seen_at_its_gain_through_the_probe(room: Room) -> None:
    """0.5 V RMS, gain 31.6, 20 mohm inside, probe 1:20."""
    room.play(0.5)
    room.wait(1.0)
    room.record(1, 0.4, span_s=0.01, samples=10_000)
    volts = room.volts(1) * 20
    expected = 0.5 * 31.6 * 4.0 / 4.02
    assert np.sqrt(np.mean(volts**2)) == pytest.approx(expected, rel=2e-3)
    assert room.oscilloscope.errors() == []


def test_the_record_begins_before_the_trigger_and_the_burst_at_it(room: Room) -> None:
    room.burst(0.5, 8)
    room.record(1, 0.4, span_s=0.02, samples=20_000, pretrigger_s=0.005)
    volts = room.volts(1) * 20
    quiet, loud, after = volts[:5000], volts[5000:13_000], volts[13_000:]
    assert np.abs(quiet).max() == pytest.approx(0.05 * 31.6 * 2**0.5, rel=0.05)
    assert np.abs(loud).max() == pytest.approx(0.5 * 31.6 * 2**0.5, rel=0.02)
    assert np.abs(after).max() == pytest.approx(0.05 * 31.6 * 2**0.5, rel=0.05)
    assert loud[250] == pytest.approx(0.5 * 31.6 * 2**0.5 * 4 / 4.02, rel=0.02), "a quarter cycle after the trigger"


def test_an_overdriven_burst_is_clipped_lower_and_lower(room: Room) -> None:
    room.burst(1.0, 20)
    room.record(1, 0.6, span_s=0.02, samples=20_000)
    peaks = (room.volts(1) * 20).reshape(20, 1000).max(axis=1)
    assert peaks[0] > 36
    assert np.all(np.diff(peaks) < 0.05), "each peak no higher than the last, but for noise"
    assert peaks[-1] < 0.95 * peaks[0]


def test_both_command_sets_give_the_same_volts(room: Room) -> None:
    room.play(0.3)
    room.record(1, 0.25, span_s=0.01, samples=5000)
    scope = room.oscilloscope
    scope.tell("DAT:ENC SRIBINARY", "DAT:WID 2", "DAT:SOU CH1")
    step, zero, offset = (float(scope.ask(f"WFMO:{field}?")) for field in ("YMU", "YOF", "YZE"))
    fields = (np.frombuffer(scope.ask_block("CURV?"), "<i2") - zero) * step + offset
    assert fields == pytest.approx(room.volts(1), abs=1e-9)
    assert float(scope.ask("WFMO:XIN?")) == pytest.approx(2e-6)
    assert float(scope.ask("WFMO:XZE?")) == 0.0


def test_a_record_can_be_taken_with_the_second_command_set(room: Room) -> None:
    room.play(0.3)
    scope = room.oscilloscope
    scope.tell("ACQ:STATE STOP", "SEL:CH1 ON", "CH1:SCA 0.25", "CH1:OFFS 0", "HOR:SCA 0.001", "HOR:RECO 10000")
    scope.tell("HOR:DEL 0.002", "TRIG:A:EDGE:SOU EXT", "TRIG:A:EDGE:SLO RIS", "TRIG:A:MOD NORM")
    scope.tell("ACQ:STOPA SEQ", "ACQ:STATE RUN")
    assert scope.ask("ACQ:FIN?;STATE?") == "0;1"
    room.wait(0.1)
    assert scope.ask("ACQ:FIN?;STATE?") == "1;0"
    assert float(scope.ask("WFMO:XZE?")) == pytest.approx(-0.002)
    assert scope.errors() == []


@pytest.mark.parametrize("width", [1, 2])
@pytest.mark.parametrize(("encoding", "kind"), [("RIB", ">i"), ("RPB", ">u"), ("SRI", "<i"), ("SRP", "<u")])
def test_every_encoding_carries_the_same_record(room: Room, encoding: str, kind: str, width: int) -> None:
    room.play(0.3)
    room.record(1, 0.25, span_s=0.01, samples=2000)
    scope = room.oscilloscope
    scope.tell(f"DAT:ENC {encoding}", f"DAT:WID {width}", "DAT:SOU CH1")
    step, zero = float(scope.ask("WFMO:YMU?")), float(scope.ask("WFMO:YOF?"))
    volts = (np.frombuffer(scope.ask_block("CURV?"), f"{kind}{width}").astype(float) - zero) * step
    assert volts == pytest.approx(room.volts(1), abs=1.01 * step)


def test_text_carries_the_same_record(room: Room) -> None:
    room.play(0.3)
    room.record(1, 0.25, span_s=0.01, samples=200)
    room.oscilloscope.tell("WAV:FORM ASC")
    text = [float(number) for number in room.oscilloscope.ask("WAV:DATA?").split(",")]
    assert text == pytest.approx(room.volts(1), abs=1e-6)


def test_what_is_beyond_the_screen_is_clipped_at_its_edge(room: Room) -> None:
    room.play(0.5)
    room.record(1, 0.1, span_s=0.01, samples=10_000)
    volts = room.volts(1)
    step = 8 * 0.1 / 4096
    assert volts.max() == pytest.approx(0.4 - step)
    assert volts.min() == pytest.approx(-0.4)


def test_the_middle_of_the_screen_can_be_moved(room: Room) -> None:
    room.oscilloscope.tell("CHAN4:OFFS 1.44")
    room.record(4, 0.05, span_s=0.01, samples=1000)
    assert room.volts(4).mean() * 10 == pytest.approx(14.4, abs=0.02)


def test_supply_current_is_seen_through_its_clamp(room: Room) -> None:
    room.record(3, 0.02, span_s=0.01, samples=1000)
    assert room.volts(3).mean() / 0.010 == pytest.approx(1.65, abs=0.05)


def test_no_trigger_no_record_until_it_sweeps_by_itself(room: Room) -> None:
    scope = room.oscilloscope
    scope.tell("TRIG:EDGE:SOUR CHAN1", "TRIG:EDGE:LEV 1", "TRIG:SWE NORM", "SING")
    room.wait(10.0)
    assert scope.ask("ACQ:COMP?;:STAT:OPER:COND?") == "0;48"
    scope.tell("TRIG:SWE AUTO")
    room.wait(0.1)
    assert scope.ask("ACQ:COMP?;:STAT:OPER:COND?") == "1;0"


def test_a_trigger_can_be_forced(room: Room) -> None:
    scope = room.oscilloscope
    scope.tell("TRIG:EDGE:SOUR CHAN1", "TRIG:EDGE:LEV 1", "TRIG:SWE NORM", "SING")
    room.wait(1.0)
    scope.tell("TRIG:FORC")
    room.wait(0.02)
    assert scope.ask("ACQ:COMP?") == "1"


@pytest.mark.parametrize(("slope", "sign"), [("POS", 1), ("NEG", -1)])
def test_it_triggers_where_a_channel_crosses_the_level(room: Room, slope: str, sign: int) -> None:
    room.play(0.5, 100.0)
    scope = room.oscilloscope
    scope.tell("CHAN1:SCAL 0.4", "TIM:REF LEFT", "TIM:SCAL 0.002", "ACQ:POIN 20000", "TIM:POS 0.005", "TRIG:SWE NORM")
    scope.tell("TRIG:EDGE:SOUR CHAN1", "TRIG:EDGE:LEV 0.5", f"TRIG:EDGE:SLOP {slope}", "SING")
    room.wait(1.0)
    assert scope.ask("ACQ:COMP?") == "1"
    volts = room.volts(1)
    assert volts[5000] == pytest.approx(0.5, abs=0.01)
    assert sign * (volts[5100] - volts[4900]) > 0


def test_a_trigger_before_the_pretrigger_is_filled_does_not_count(room: Room) -> None:
    """Bursts every 0.5 s; with 0.3 s of pretrigger, the burst 0.2 s after arming is too early."""
    room.burst(0.5, 8)
    room.wait(0.3)
    scope = room.oscilloscope
    scope.tell("TIM:REF LEFT", "TIM:SCAL 0.04", "TIM:POS 0.3", "TRIG:SWE NORM", "SING")
    room.wait(0.6)
    assert scope.ask("ACQ:COMP?") == "0"
    room.wait(0.21)
    assert scope.ask("ACQ:COMP?") == "1"


def test_stop_gives_up_and_leaves_no_record(room: Room) -> None:
    scope = room.oscilloscope
    scope.tell("SING", "STOP")
    room.wait(1.0)
    assert scope.ask("ACQ:COMP?") == "0"
    scope.tell("WAV:PRE?")
    assert scope.errors() == [-230]


def test_opc_waits_for_the_record(room: Room) -> None:
    """An overlapped command, IEEE 488.2 12.5."""
    scope = room.oscilloscope
    scope.tell("*CLS", "TIM:SCAL 0.01", "SING", "*OPC")
    assert scope.ask("*ESR?") == "0"
    room.wait(1.0)
    assert scope.ask("*ESR?") == "1"


def test_a_channel_that_was_not_shown_has_no_record(room: Room) -> None:
    room.record(1, 0.4, span_s=0.01, samples=1000)
    room.oscilloscope.tell("WAV:SOUR CHAN2", "WAV:DATA?")
    assert room.oscilloscope.errors() == [-221]


def test_changing_the_scale_afterwards_does_not_change_the_record(room: Room) -> None:
    room.play(0.3)
    room.record(1, 0.25, span_s=0.01, samples=1000)
    before = room.volts(1)
    room.oscilloscope.tell("CHAN1:SCAL 2")
    assert room.volts(1) == pytest.approx(before, abs=1e-12)


def test_no_more_samples_than_the_sample_rate_gives(room: Room) -> None:
    """50 MSa/s: at most 500 samples in 10 microseconds, even if more are asked for."""
    room.record(1, 0.25, span_s=1e-5, samples=10_000)
    assert room.oscilloscope.ask("WAV:POIN?") == "500"


@pytest.mark.parametrize(
    ("command", "error"),
    [("CHAN1:SCAL 0", -222), ("CHAN5:SCAL 1", -114), ("ACQ:POIN 1E9", -222), ("TIM:SCAL -1", -222),
     ("CHAN1:COUP AC", -224), ("WAV:FORM LONG", -224), ("TRIG:EDGE:SOUR LINE", -224)],
)  # fmt: skip
def test_what_it_cannot_do_is_an_error(room: Room, command: str, error: int) -> None:
    room.oscilloscope.tell(command)
    assert room.oscilloscope.errors() == [error]


def test_a_probe_factor_scales_what_is_set_and_shown(room: Room) -> None:
    room.play(0.3)
    scope = room.oscilloscope
    scope.tell("CHAN1:PROB 20")
    room.record(1, 5, span_s=0.01, samples=10_000)
    assert np.sqrt(np.mean(room.volts(1) ** 2)) == pytest.approx(0.3 * 31.6 * 4 / 4.02, rel=3e-3)
