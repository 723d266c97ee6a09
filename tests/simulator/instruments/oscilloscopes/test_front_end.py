"""What an oscilloscope, its probes and the mains do to a record, each against its closed form."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import stats

from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.documents.bench_file.imperfections import OscilloscopeImperfections
from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.simulator.instruments.oscilloscopes.recording.front_end import FrontEnd, through_one_pole, turned_back
from benchctl.simulator.model.true_errors import TrueErrors
from benchctl.simulator.physics import derive_physics
from benchctl.simulator.wave import Samples, distorted, two_tones
from tests.simulator.benches import PLATE, describe
from tests.simulator.talk import Room

GAIN = 31.6
"""Of the plate."""


def workshop(**imperfections: Any) -> Room:
    """An exact and quiet bench with these imperfections, powered, with 4 ohm at both outputs."""
    bench = {"seed": 7, "instrument_errors": "none", "imperfections": imperfections}
    quiet = AmplifierSimulation(noise_v=0.0, offset_v={"A": 0.0, "B": 0.0}, output_resistance_ohm=0.0, crosstalk=0.0)
    room = Room(describe(amplifier=derive_physics(PLATE, quiet), bench=BenchSimulation.model_validate(bench)))
    room.power_on(101, 102)
    return room


def output_v(room: Room, channel: int, scale_v: float, *, span_s: float = 0.1, samples: int = 20_000) -> Samples:
    """At the probe's tip, 1:20."""
    room.record(channel, scale_v, span_s=span_s, samples=samples)
    return 20.0 * room.volts(channel)


def rms(values: Samples) -> float:
    return float(np.std(values))


def line(values: Samples, cycles: int) -> complex:
    """The phasor of a tone of so many cycles in the record."""
    turns = np.arange(len(values)) / len(values)
    return complex(2 * np.mean(values * np.exp(-2j * np.pi * cycles * turns)))


MAINS = {"frequency": "50 Hz", "harmonics": ["30 %", "40 %"]}


def test_hum_at_the_inputs_is_amplified_with_its_harmonics() -> None:
    """1 mV RMS times the gain; of 1, 0.3 and 0.4 in squares the fundamental has 1/1.25 (Parseval)."""
    room = workshop(mains={**MAINS, "at_inputs": "1 mV"})
    room.play(0.0)
    values = output_v(room, 1, 0.005, span_s=0.2)
    assert rms(values) == pytest.approx(1e-3 * GAIN, rel=0.01)
    assert abs(line(values, 10)) / math.sqrt(2) == pytest.approx(1e-3 * GAIN / math.sqrt(1.25), rel=0.01)
    assert abs(line(values, 30) / line(values, 10)) == pytest.approx(0.4, rel=0.02)


def test_an_input_hums_when_the_generator_that_it_hangs_on_is_off_and_not_when_it_is_shorted() -> None:
    room = workshop(mains={**MAINS, "at_open_inputs": "2 mV"})
    room.physical_bench.connections.plug("A")
    room.generator.tell("OUTP OFF")
    # The sync of the constant tone goes on and triggers the record.
    assert rms(output_v(room, 1, 0.01, span_s=0.2)) == pytest.approx(2e-3 * GAIN, rel=0.01)
    assert rms(output_v(room, 2, 0.01, span_s=0.2)) < 3e-4, "the converter's own noise"
    room.play(0.0)
    assert rms(output_v(room, 1, 0.01, span_s=0.2)) < 3e-4, "the converter's own noise"


def test_hum_of_outputs_and_probes_is_there_without_an_input() -> None:
    """3 mV and 4 mV in phase are 7 mV; with the amplifier off only the probe's."""
    room = workshop(mains={**MAINS, "at_outputs": "3 mV", "at_probes": "4 mV"})
    assert rms(output_v(room, 1, 0.001, span_s=0.2)) == pytest.approx(7e-3, rel=0.02)
    room.supply.tell("INST:NSEL 1;:OUTP OFF", "INST:NSEL 2;:OUTP OFF")
    room.wait(5.0)
    assert rms(output_v(room, 1, 0.001, span_s=0.2)) == pytest.approx(4e-3, rel=0.02)


def test_a_generator_adds_its_harmonics_and_its_dc() -> None:
    """0.3 V times the gain: 1 % second and 2 % third of the tone; 5 mV of dc times the gain."""
    room = workshop(generator={"second_harmonic": "1 %", "third_harmonic": "2 %", "offset": "5 mV"})
    room.play(0.3, 100.0)
    values = output_v(room, 1, 0.2)
    parts = [abs(line(values, 10 * harmonic)) for harmonic in (1, 2, 3)]
    assert parts[0] == pytest.approx(0.3 * math.sqrt(2) * GAIN, rel=1e-3)
    assert [part / parts[0] for part in parts[1:]] == pytest.approx([0.01, 0.02], rel=0.01)
    assert values.mean() == pytest.approx(5e-3 * GAIN, abs=2e-3)


def test_two_tones_through_a_bent_generator_have_difference_tones() -> None:
    """The bend that gives 1 % second harmonic is x - 0.02·x²: a(f2-f1) = 0.02·a1·a2 (product of sines)."""
    wave = distorted(two_tones(19, 20, 1.0).times(0.5), 0.01, 0.0)
    assert 2 * abs(np.fft.rfft(wave.cycle)[1]) / len(wave.cycle) == pytest.approx(0.02 * 0.25, rel=1e-3)


def test_a_generators_noise_is_amplified_while_its_output_is_on() -> None:
    """20 µV from 20 Hz to 20 kHz, times the gain; up to 50 kHz by the root of the bandwidth."""
    room = workshop(generator={"noise": "20 uV"}, oscilloscope={"converter_noise": 0})
    room.play(0.0)
    noise_v = 20e-6 * GAIN * math.sqrt(50e3 / 19.98e3)
    assert rms(output_v(room, 1, 5e-4)) == pytest.approx(noise_v, rel=0.02)
    room.generator.tell("OUTP OFF")
    assert rms(output_v(room, 1, 5e-4)) < 0.1 * noise_v


def test_a_probe_takes_its_part_of_the_noise_at_its_tip() -> None:
    """White noise up to B behind one pole at fc has the power of the bandwidth fc·atan(B/fc) (integral)."""
    room = workshop(generator={"noise": "20 uV"}, oscilloscope={"converter_noise": 0, "probe_bandwidth": "10 kHz"})
    room.play(0.0)
    noise_v = 20e-6 * GAIN * math.sqrt(10e3 * math.atan(50e3 / 10e3) / 19.98e3)
    assert rms(output_v(room, 1, 5e-4)) == pytest.approx(noise_v, rel=0.02)


def test_a_probe_of_one_pole_takes_3_db_and_45_degrees_at_its_bandwidth() -> None:
    """1/(1 + jf/fc) (textbook)."""
    turns = np.arange(50_000) / 50_000
    seen = through_one_pole(np.sin(2 * np.pi * 1000 * turns), 1e-6, 20e3)
    later = seen[25_000:]
    assert line(later, 500) * 1j == pytest.approx(1 / (1 + 1j), abs=1e-4)


def test_a_probe_follows_a_step_with_its_time_constant() -> None:
    """1 - 1/e after 1/(2πfc); before the step nothing, whatever the end of the record is."""
    step = np.where(np.arange(20_000) < 5000, 0.0, 1.0)
    seen = through_one_pole(step, 1e-7, 10e3)
    constant = round(1 / (2 * math.pi * 10e3) / 1e-7)
    assert seen[5000 + constant] == pytest.approx(1 - math.exp(-1), abs=0.01)
    assert np.abs(seen[:4900]).max() < 1e-3


def test_a_carrier_passes_a_probe_by_its_own_frequency_and_not_by_the_one_that_it_is_folded_to() -> None:
    """263 kHz through 100 kHz: 1/sqrt(1 + 2.63²); recorded at 200 kSa/s it is seen at 63 kHz."""
    plate = replace(PLATE, switching=True, idle_current_a=1.0)
    physics = AmplifierSimulation(noise_v=0.0, ripple_v=0.2, carrier_hz=263e3, offset_v={"A": 0.0, "B": 0.0})
    simulation = {"instrument_errors": "none", "imperfections": {"oscilloscope": {"probe_bandwidth": "100 kHz"}}}
    room = Room(
        describe(
            plate=plate, amplifier=derive_physics(plate, physics), bench=BenchSimulation.model_validate(simulation)
        )
    )
    room.power_on(101, 102)
    assert rms(output_v(room, 1, 0.005)) == pytest.approx(0.2 / math.hypot(1, 2.63), rel=0.01)


def test_a_late_channel_is_late_by_its_skew() -> None:
    """5 µs of 1 kHz are 1.8 degrees."""
    room = workshop(oscilloscope={"skew": {"2": "5 us"}})
    room.play(0.3)
    first, second = (line(output_v(room, channel, 0.2), 100) for channel in (1, 2))
    assert np.degrees(np.angle(second / first)) == pytest.approx(-1.8, abs=0.02)


def test_the_trigger_jitters_from_record_to_record() -> None:
    """As normal as it is told; the same record is the same each time."""
    end = FrontEnd(OscilloscopeImperfections(trigger_jitter_s=2e-9), TrueErrors(BenchSimulation(seed=3)), 23.0)
    late_s = [end.late_s(1, record) for record in range(2000)]
    assert (np.mean(late_s), np.std(late_s)) == (pytest.approx(0.0, abs=2e-10), pytest.approx(2e-9, rel=0.05))
    assert end.late_s(2, 17) == late_s[17], "all channels share the trigger"


def test_gain_is_another_on_each_range_and_moves_as_it_warms_up() -> None:
    """Within its limit, the same each time; 0.2 % of warm-up is 1 - 1/e of it after a time constant; 100 ppm/K."""
    exact = FrontEnd(
        OscilloscopeImperfections(warm_up_gain=2e-3, warm_up_s=600.0, temperature_gain_per_k=1e-4),
        TrueErrors(BenchSimulation(instrument_errors="none")),
        33.0,
    )
    assert exact.gain(1, 8.0, 0.0, 1) == pytest.approx(1.001)
    assert exact.gain(1, 8.0, 600.0, 1) == pytest.approx(1.001 + 2e-3 * (1 - math.exp(-1)))
    drawn = FrontEnd(OscilloscopeImperfections(range_gain=5e-3), TrueErrors(BenchSimulation(seed=3)), 23.0)
    gains = [drawn.gain(1, full_scale_v, 0.0, 1) for full_scale_v in np.geomspace(0.01, 100, 40)]
    assert max(abs(gain - 1) for gain in gains) <= 5e-3
    assert np.std(gains) == pytest.approx(5e-3 / math.sqrt(3), rel=0.25)
    assert drawn.gain(1, 0.01, 99.0, 2) == gains[0]


def test_gain_moves_from_record_to_record_in_each_input_by_itself() -> None:
    """As normal as it is told; the same record is the same each time. Of 2000 a correlation is 0 within 0.022."""
    end = FrontEnd(OscilloscopeImperfections(record_gain=2e-4), TrueErrors(BenchSimulation(seed=3)), 23.0)
    first, second = (np.array([end.gain(number, 8.0, 0.0, record) for record in range(2000)]) for number in (1, 2))
    assert (np.mean(first), np.std(first)) == (pytest.approx(1.0, abs=2e-5), pytest.approx(2e-4, rel=0.05))
    assert stats.kstest((first - 1.0) / 2e-4, "norm").pvalue > 0.01
    assert abs(np.corrcoef(first, second)[0, 1]) < 0.07
    assert abs(np.corrcoef(first[1:], first[:-1])[0, 1]) < 0.07
    assert end.gain(1, 8.0, 99.0, 17) == first[17]


def test_records_of_one_tone_show_how_the_gain_moves() -> None:
    """0.2 % RMS, of an input that is stated to 5 %."""
    room = workshop(oscilloscope={"record_gain": "0.2 %"})
    room.play(0.1)
    found = [abs(line(output_v(room, 1, 0.1, span_s=0.01, samples=1000), 10)) for _ in range(30)]
    assert np.std(found) / np.mean(found) == pytest.approx(2e-3, rel=0.3)


def test_the_zero_of_a_range_moves_within_a_part_of_its_limit_as_it_warms_up() -> None:
    """A tenth of a limit of 80 mV: evenly spread over the ranges, and 1 - 1/e of it after a time constant."""
    end = FrontEnd(
        OscilloscopeImperfections(zero_drift=0.1, warm_up_s=600.0), TrueErrors(BenchSimulation(seed=3)), 23.0
    )
    moved = [end.zero_v(1, full_scale_v, 0.08, 1e5) for full_scale_v in np.geomspace(0.01, 100, 40)]
    assert max(map(abs, moved)) <= 0.008
    assert np.std(moved) == pytest.approx(0.008 / math.sqrt(3), rel=0.25)
    assert end.zero_v(1, 0.01, 0.08, 0.0) == 0.0
    assert end.zero_v(1, 0.01, 0.08, 600.0) == pytest.approx(moved[0] * (1 - math.exp(-1)))


def test_an_input_sees_a_part_of_the_others() -> None:
    """-40 dB of the other output at the same probe ratio; a capacitance passes no dc, of which the supply's input has
    1.44 V: -40 dB of that would be 288 mV at a tip of 1:20."""
    room = workshop(oscilloscope={"crosstalk": "-40 dB"})
    room.physical_bench.connections.plug("A")
    room.play(0.3)
    seen = output_v(room, 2, 0.02)
    driven, beside = line(output_v(room, 1, 0.2), 100), line(seen, 100)
    assert abs(beside / driven) == pytest.approx(0.01, rel=0.01)
    assert abs(np.mean(seen)) < 5e-3


def test_a_gain_stays_evenly_spread_within_what_is_stated_whatever_is_added_to_it() -> None:
    """A data sheet's limit counts ranges and warming up. The distribution of a rectangle, in closed form (scipy)."""
    chance = np.random.default_rng(7)
    own, added = chance.uniform(-0.03, 0.03, 4000), 0.008 * chance.choice([-1.0, 1.0], 4000)
    moved = np.array([turned_back(error, 0.03) for error in own + added])
    assert stats.kstest(moved, stats.uniform(-0.03, 0.06).cdf).pvalue > 0.01
    assert [turned_back(error, 0.03) for error in (0.02, 0.03, 0.035, -0.034)] == pytest.approx(
        [0.02, 0.03, 0.025, -0.026]
    )


def test_an_untouched_workshop_has_none_of_it() -> None:
    end = FrontEnd(OscilloscopeImperfections(), TrueErrors(BenchSimulation(seed=3)), 23.0)
    assert (end.late_s(1, 5), end.gain(1, 8.0, 100.0, 5), end.crosstalk) == (0.0, 1.0, 0.0)
    assert end.zero_v(1, 8.0, 0.08, 100.0) == 0.0
    assert math.isinf(end.bandwidth_hz("output A"))
