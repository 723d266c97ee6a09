"""Generators that speak other ways than by lists of levels: what each message makes the output do."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest

from benchctl.documents.bench_file.simulated_instruments import GeneratorSimulation
from benchctl.scpi.blocks import encode_block
from benchctl.simulator.generator_signal import Tone
from benchctl.simulator.instruments.generators.word_forms import WORD_FORMS
from benchctl.simulator.model.description import GeneratorDescription
from tests.simulator.talk import Room

VPP_PER_VRMS = 2 * math.sqrt(2)
"""of a sine (textbook)"""


def room(form: str, **vices: Any) -> Room:
    """A bench whose generator speaks `form`."""
    simulated = GeneratorSimulation.model_validate({"speaks": form, **vices})
    return Room(generator=GeneratorDescription(simulated=simulated))


def tone(bench: Room) -> Tone:
    """What comes out now."""
    bench.generator.ask("*ESR?")
    return bench.physical_bench.connections.drive.tone_at(bench.now_s)[0]


def level_v(bench: Room) -> float:
    """The rms at a high input now."""
    return tone(bench).amplitude_v / math.sqrt(2)


def seen_v(bench: Room, at_s: list[float]) -> list[float]:
    """The levels at these times after now."""
    start_s, levels = bench.now_s, []
    for each in at_s:
        bench.now_s = start_s + each
        levels.append(level_v(bench))
    return levels


CYCLES = ("OUTP1:LOAD INF", "SOUR1:VOLT:UNIT VRMS", "SOUR1:BURS:MODE TRIG", "SOUR1:FREQ 1000", "SOUR1:VOLT 0.5")


def test_bursts_by_cycles_and_period_have_nothing_between_them() -> None:
    bench = room("cycles_and_period")
    bench.generator.tell(*CYCLES, "SOUR1:BURS:INT:PER 0.5", "SOUR1:BURS:NCYC 8", "TRIG1:SOUR TIM")
    bench.generator.tell("OUTP1 ON", "SOUR1:BURS:STAT ON")
    assert seen_v(bench, [0.0, 0.0079, 0.0081, 0.499, 0.501]) == pytest.approx([0.5, 0.5, 0.0, 0.0, 0.5])
    assert bench.generator.errors() == []


def test_the_true_frequency_sets_how_long_the_cycles_last() -> None:
    bench = room("cycles_and_period")
    bench.generator.tell(*CYCLES, "SOUR1:FREQ 50", "SOUR1:BURS:INT:PER 0.5", "SOUR1:BURS:NCYC 8", "TRIG1:SOUR TIM")
    bench.generator.tell("OUTP1 ON", "SOUR1:BURS:STAT ON")
    assert seen_v(bench, [0.159, 0.161]) == pytest.approx([0.5, 0.0])


def test_a_level_that_is_set_while_bursts_play_changes_them_and_not_their_rhythm() -> None:
    bench = room("cycles_and_period")
    bench.generator.tell(*CYCLES, "SOUR1:BURS:INT:PER 0.5", "SOUR1:BURS:NCYC 8", "TRIG1:SOUR TIM")
    bench.generator.tell("OUTP1 ON", "SOUR1:BURS:STAT ON")
    bench.wait(0.3)
    bench.generator.tell("SOUR1:VOLT 0.2")
    assert seen_v(bench, [0.1, 0.201]) == pytest.approx([0.0, 0.2])


def test_a_burst_longer_than_its_period_is_refused() -> None:
    bench = room("cycles_and_period")
    bench.generator.tell(*CYCLES, "SOUR1:BURS:INT:PER 0.005", "SOUR1:BURS:NCYC 8", "SOUR1:BURS:STAT ON")
    assert bench.generator.errors() == [-221]
    assert bench.generator.ask("SOUR1:BURS:STAT?") == "0"


def test_each_trigger_from_the_bus_gives_one_burst() -> None:
    bench = room("bus_trigger")
    bench.generator.tell(*CYCLES, "SOUR1:BURS:NCYC 8", "TRIG1:SOUR BUS", "SOUR1:BURS:STAT ON", "OUTP1 ON")
    assert level_v(bench) == 0.0, "before the first trigger"
    bench.wait(1.0)
    bench.generator.tell("*TRG")
    assert seen_v(bench, [0.0, 0.0079, 0.0081, 0.7]) == pytest.approx([0.5, 0.5, 0.0, 0.0])
    bench.generator.tell("*TRG")
    assert level_v(bench) == pytest.approx(0.5)
    bench.generator.tell("*TRG")
    assert bench.generator.errors() == [-211], "a trigger during a burst is lost"


def test_the_sync_output_rises_with_each_burst_and_not_between() -> None:
    bench = room("bus_trigger")
    bench.generator.tell(*CYCLES, "SOUR1:BURS:NCYC 8", "TRIG1:SOUR BUS", "SOUR1:BURS:STAT ON", "OUTP1 ON")
    drive = bench.physical_bench.connections.drive
    assert math.isinf(drive.next_sync(0.0))
    bench.wait(2.0)
    bench.generator.tell("*TRG")
    assert drive.next_sync(1.0) == pytest.approx(2.0)
    assert math.isinf(drive.next_sync(2.5))


def test_a_generator_without_a_timer_does_not_know_its_words() -> None:
    bench = room("bus_trigger")
    bench.generator.tell("SOUR1:BURS:INT:PER 0.5", "TRIG1:SOUR TIM")
    assert bench.generator.errors() == [-113, -224]


def test_a_display_in_vpp_answers_vpp_and_has_no_unit() -> None:
    bench = room("peak_to_peak")
    bench.generator.tell("SOUR1:VOLT 2.8284271", "OUTP1 ON")
    assert level_v(bench) == pytest.approx(1.0)
    assert float(bench.generator.ask("SOUR1:VOLT?")) == pytest.approx(2.8284271)
    bench.generator.tell("SOUR1:VOLT:UNIT VRMS")
    assert bench.generator.errors() == [-113]


def test_a_reset_brings_back_vpp_and_the_display_for_50_ohm() -> None:
    bench = room("cycles_and_period")
    bench.generator.tell("OUTP1:LOAD INF", "SOUR1:VOLT:UNIT VRMS", "*RST", "SOUR1:VOLT 1", "OUTP1 ON")
    assert bench.generator.ask("SOUR1:VOLT:UNIT?;:OUTP1:LOAD?") == "VPP;5.00000000E+01"
    assert level_v(bench) == pytest.approx(2 / VPP_PER_VRMS), "twice the display at a high input"


def test_a_change_of_the_load_setting_changes_the_display_and_not_the_output() -> None:
    bench = room("cycles_and_period")
    bench.generator.tell("OUTP1:LOAD INF", "SOUR1:VOLT:UNIT VRMS", "SOUR1:VOLT 1", "OUTP1 ON", "OUTP1:LOAD 50")
    assert level_v(bench) == pytest.approx(1.0)
    assert float(bench.generator.ask("SOUR1:VOLT?")) == pytest.approx(0.5)


def test_a_display_for_50_ohm_gives_twice_its_volts_at_a_high_input() -> None:
    bench = room("display_into_50_ohm")
    bench.generator.tell("SOUR1:VOLT:UNIT VRMS", "SOUR1:VOLT 0.5", "SOUR1:VOLT:OFFS 0.1", "OUTP1 ON")
    assert level_v(bench) == pytest.approx(1.0)
    assert tone(bench).offset_v == pytest.approx(0.2)
    bench.generator.tell("OUTP1:LOAD INF")
    assert bench.generator.errors() == [-113]


def test_a_list_of_names_and_values_is_answered_whole_with_units() -> None:
    bench = room("key_value_list")
    bench.generator.tell("C1:OUTP LOAD,HZ", "C1:BSWV WVTP,SINE,OFST,0", "C1:BSWV FRQ,1000,AMP,2.0", "C1:OUTP ON")
    assert bench.generator.ask("C1:BSWV?") == (
        "C1:BSWV WVTP,SINE,FRQ,1000HZ,PERI,0.001S,AMP,2V,AMPVRMS,0.707107Vrms,OFST,0V,PHSE,0"
    )
    assert bench.generator.ask("C1:OUTP?") == "C1:OUTP ON,LOAD,HZ,PLRT,NOR"
    assert level_v(bench) == pytest.approx(2 / VPP_PER_VRMS)


def test_a_list_starts_bursts_by_period_and_cycles() -> None:
    bench = room("key_value_list")
    bench.generator.tell(
        "C1:OUTP LOAD,HZ", "C1:BSWV FRQ,1000,AMP,2.0", "C1:OUTP ON", "C1:BTWV STATE,ON,PRD,0.5S,TIME,8"
    )
    high_v = 2 / VPP_PER_VRMS
    assert seen_v(bench, [0.0, 0.0079, 0.0081, 0.501]) == pytest.approx([high_v, high_v, 0.0, high_v])
    assert "TIME,8" in bench.generator.ask("C1:BTWV?")


def test_one_wrong_name_in_a_list_leaves_everything_as_it_was() -> None:
    bench = room("key_value_list")
    before = bench.generator.ask("C1:BSWV?")
    bench.generator.tell("C1:BSWV FRQ,2000,AMPL,1.0", "C1:BSWV FRQ", "C1:BSWV FRQ,FAST")
    assert bench.generator.errors() == [-224, -109, -104]
    assert bench.generator.ask("C1:BSWV?") == before


def test_the_outputs_of_a_list_generator_have_levels_of_their_own() -> None:
    bench = room("key_value_list")
    bench.generator.tell("C1:BSWV AMP,2", "C2:BSWV AMP,1", "C1:OUTP ON", "C2:OUTP ON")
    bench.generator.ask("*ESR?")
    second = bench.physical_bench.connections.second_drive
    assert second.tone_at(0.0)[0].amplitude_v == pytest.approx(0.5)
    assert level_v(bench) == pytest.approx(2 / VPP_PER_VRMS)


def burst_table(points: int = 5000, cycles: int = 8, low: float = 0.1) -> np.ndarray[Any, np.dtype[np.float64]]:
    """8 of 500 cycles at full scale, the rest 20 dB lower."""
    at = np.arange(points) * 500 / points
    return np.where(at < cycles, 1.0, low) * np.sin(2 * np.pi * at)


@pytest.mark.parametrize("form", ["table_as_block", "table_as_text"])
@pytest.mark.parametrize(("low", "rest_v"), [(0.1, 0.1), (0.0, 0.0)])
def test_a_table_plays_burst_and_rest_at_its_rate(form: str, low: float, rest_v: float) -> None:
    bench = room(form)
    samples = burst_table(low=low)
    if form == "table_as_block":
        data = encode_block((samples * 32767).round().astype(">i2").tobytes()).decode("latin-1")
    else:
        data = ",".join(f"{sample:.4f}" for sample in samples)
    bench.generator.tell(f"SOUR1:DATA:ARB burst,{data}", "SOUR1:FUNC:ARB burst", "SOUR1:FUNC:ARB:SRAT 10000")
    bench.generator.tell("OUTP1:LOAD INF", "SOUR1:VOLT:UNIT VRMS", "SOUR1:VOLT 1", "SOUR1:FUNC ARB", "OUTP1 ON")
    assert bench.generator.errors() == []
    expected = pytest.approx([1.0, 1.0, rest_v, rest_v, 1.0], abs=1e-3)
    assert seen_v(bench, [0.0, 0.0079, 0.0081, 0.499, 0.501]) == expected
    assert tone(bench).frequency_hz == pytest.approx(1000.0, rel=1e-6)


def test_only_a_table_that_is_there_can_be_chosen() -> None:
    bench = room("table_as_text")
    bench.generator.tell("SOUR1:FUNC:ARB BURST", "SOUR1:DATA:ARB burst,0,2,0,-2,0,2,0,-2", "SOUR1:DATA:ARB burst,0,1")
    assert bench.generator.errors() == [-256, -222, -226]


def cycle_v(bench: Room, turns: list[float]) -> list[float]:
    """What comes out at these parts of a cycle."""
    sounding = tone(bench)
    assert sounding.wave is not None
    return [sounding.amplitude_v * value for value in sounding.wave.at(np.array(turns))]


def test_a_table_of_two_tones_is_repeated_at_its_rate() -> None:
    """60 Hz and 7 kHz, 4:1, in 50 ms: 3 and 350 cycles; at 0.4 of a turn, by the sum of the two sines."""
    bench = room("table_as_text")
    at = np.arange(10_000) / 10_000
    samples = 0.8 * np.sin(2 * np.pi * 3 * at) + 0.2 * np.sin(2 * np.pi * 350 * at)
    data = ",".join(f"{sample:.5f}" for sample in samples)
    bench.generator.tell(f"SOUR1:DATA:ARB two,{data}", "SOUR1:FUNC:ARB two", "SOUR1:FUNC:ARB:SRAT 200000")
    bench.generator.tell("OUTP1:LOAD INF", "SOUR1:VOLT:UNIT VPP", "SOUR1:VOLT 2", "SOUR1:FUNC ARB", "OUTP1 ON")
    assert bench.generator.errors() == []
    assert tone(bench).frequency_hz == pytest.approx(20.0)
    expected = 0.8 * np.sin(2 * np.pi * 1.2) + 0.2 * np.sin(2 * np.pi * 140.0)
    assert cycle_v(bench, [0.4]) == [pytest.approx(expected, abs=1e-4)]


def test_a_second_sine_is_added_as_a_part_of_the_first() -> None:
    """19 and 20 kHz 1:1 have a common cycle of 1 ms; a quarter of a turn later both are where sin is -1 and 0."""
    bench = room("cycles_and_period")
    bench.generator.tell("OUTP1:LOAD INF", "SOUR1:VOLT:UNIT VPP", "SOUR1:VOLT 1", "SOUR1:FREQ 19000")
    bench.generator.tell("SOUR1:SUM:INT:FREQ 20000", "SOUR1:SUM:AMPL 100", "SOUR1:SUM:STAT ON", "OUTP1 ON")
    assert bench.generator.errors() == []
    assert tone(bench).frequency_hz == pytest.approx(1000.0)
    assert cycle_v(bench, [0.25]) == [pytest.approx(-0.5)]
    bench.generator.tell("SOUR1:SUM:STAT OFF")
    assert (tone(bench).wave, tone(bench).frequency_hz) == (None, 19_000.0)


def test_a_sum_beyond_the_output_is_refused() -> None:
    bench = room("cycles_and_period")
    bench.generator.tell("OUTP1:LOAD INF", "SOUR1:SUM:AMPL 100", "SOUR1:VOLT 15", "SOUR1:SUM:STAT ON")
    assert bench.generator.errors() == [-221]


@pytest.mark.parametrize("form", ["cycles_and_period", "peak_to_peak", "table_as_block", "keyed_modulation"])
def test_a_square_wave_has_the_peaks_and_the_rms_of_its_display(form: str) -> None:
    bench = room(form)
    bench.generator.tell("OUTP1:LOAD INF", "SOUR1:VOLT 1", "SOUR1:FUNC SQU", "OUTP1 ON")
    assert cycle_v(bench, [0.25, 0.75]) == pytest.approx([0.5, -0.5])
    if form != "peak_to_peak":
        bench.generator.tell("SOUR1:VOLT:UNIT VRMS")
        assert float(bench.generator.ask("SOUR1:VOLT?")) == pytest.approx(0.5)
    bench.generator.tell("SOUR1:FUNC SIN")
    assert tone(bench).wave is None


def test_a_list_of_names_and_values_can_ask_for_a_square_wave() -> None:
    bench = room("key_value_list")
    bench.generator.tell("C1:BSWV WVTP,SQUARE,FRQ,1000,AMP,1", "C1:OUTP ON")
    assert "WVTP,SQUARE" in bench.generator.ask("C1:BSWV?")
    assert cycle_v(bench, [0.25, 0.75]) == pytest.approx([0.5, -0.5])


def test_keyed_modulation_gives_the_set_level_at_full_depth_and_the_rest_by_depth() -> None:
    """The peaks of a carrier with depth m are half the level times 1 + m, the valleys half times 1 - m."""
    bench = room("keyed_modulation")
    bench.generator.tell("SOUR1:VOLT:UNIT VRMS", "SOUR1:VOLT 1.1", "SOUR1:AM:SOUR INT", "SOUR1:AM:INT:FUNC SQU")
    bench.generator.tell("SOUR1:AM:INT:FREQ 2", "SOUR1:AM:INT:DCYC 4", "SOUR1:AM:DEPT 81.818182")
    bench.generator.tell("OUTP1 ON", "SOUR1:AM:STAT ON")
    assert seen_v(bench, [0.001, 0.019, 0.021, 0.499, 0.501]) == pytest.approx([1.0, 1.0, 0.1, 0.1, 1.0], rel=1e-6)
    assert bench.generator.errors() == []


def test_the_carrier_of_keyed_modulation_does_not_begin_with_the_burst() -> None:
    bench = room("keyed_modulation")
    bench.generator.tell("SOUR1:FREQ 997", "SOUR1:AM:INT:FUNC SQU", "SOUR1:AM:INT:FREQ 2", "OUTP1 ON")
    bench.wait(0.3)
    bench.generator.tell("SOUR1:AM:STAT ON")
    sounding = tone(bench)
    assert sounding.sync_rose_s == pytest.approx(0.3)
    assert ((0.3 - sounding.origin_s) * 997) % 1.0 == pytest.approx(0.1, abs=1e-6), "299.1 cycles after it was tuned"


@pytest.mark.parametrize(
    ("left", "is_wrong"),
    [
        ("offset", lambda bench: tone(bench).offset_v == 0.25),
        ("load", lambda bench: bench.generator.ask("OUTP1:LOAD?") == "5.00000000E+01"),
        ("modulation", lambda bench: len({round(each, 6) for each in seen_v(bench, [0.001, 0.003, 0.006])}) == 3),
        ("sweep", lambda bench: tone(bench).frequency_hz == pytest.approx(100.0)),
        ("burst", lambda bench: seen_v(bench, [0.001, 0.05]) == [pytest.approx(level_v(bench), abs=1), 0.0]),
        ("phase", lambda bench: bench.generator.ask("SOUR1:BURS:PHAS?") == "9.00000000E+01"),
    ],
)
def test_what_the_last_user_left_sounds_until_a_reset(left: str, is_wrong: Any) -> None:
    bench = room("peak_to_peak", left_by_last_user=[left])
    bench.generator.tell("OUTP1 ON")
    assert is_wrong(bench)
    bench.generator.tell("*RST", "OUTP1 ON", "SOUR1:VOLT 1")
    assert tone(bench) == Tone(pytest.approx(0.5), 1000.0, pytest.approx(bench.now_s, abs=1.0))


def test_a_coarse_generator_answers_the_step_that_it_took() -> None:
    bench = room("peak_to_peak", level_step="20 mV")
    bench.generator.tell("SOUR1:VOLT 0.149", "OUTP1 ON")
    assert float(bench.generator.ask("SOUR1:VOLT?")) == pytest.approx(0.14)
    assert level_v(bench) == pytest.approx(0.14 / VPP_PER_VRMS)


@pytest.mark.parametrize("form", [form for form in WORD_FORMS if form != "key_value_list"])
def test_a_level_of_nothing_is_refused(form: str) -> None:
    bench = room(form)
    bench.generator.tell("SOUR1:VOLT 0")
    assert bench.generator.errors() == [-222]
