"""What real amplifiers do to a signal beside amplifying and clipping it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy import integrate

from benchctl.documents.amplifier_file.imperfections import CompressorSimulation
from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.simulator.amplifier.compressor import GAIN_STEP, Compressor
from benchctl.simulator.amplifier.output_stage import OutputStage
from benchctl.simulator.amplifier.outputs import output_of
from benchctl.simulator.generator_signal import Tone
from benchctl.simulator.model.description import Physics
from benchctl.simulator.physics import derive_physics
from benchctl.simulator.wave import Samples, square, two_tones
from tests.simulator.benches import PLATE, awake, describe

TURNS = np.arange(65_536) / 65_536
OPEN_S = 0.0
HIGH_V = 1000.0
"""Headroom that nothing clips at."""


def physics_with(**imperfections: Any) -> Physics:
    """A gain of 10 without dc, and these imperfections."""
    given = {"imperfections": imperfections, "gain": 10.0, "offset_v": {"A": 0.0, "B": 0.0}}
    return derive_physics(PLATE, AmplifierSimulation.model_validate(given))


def stage_of(tone: Tone, conductance_s: float = OPEN_S, channel: str = "A", **imperfections: Any) -> OutputStage:
    """One channel's stage for a tone at its input."""
    return output_of(physics_with(**imperfections), PLATE, channel).stage(tone, conductance_s)


def output_v(stage: OutputStage, turns: Samples = TURNS) -> Samples:
    """At the load, once it has settled."""
    return stage.share * stage.transfer.output_v(stage.asked_v(turns), HIGH_V)


def lines(volts: Samples) -> Samples:
    """Amplitudes at the multiples of the cycle."""
    return np.asarray(2 * np.abs(np.fft.rfft(volts)) / len(volts))


def tones(first: int, second: int, first_v: float, second_v: float) -> Tone:
    """At the output, behind a gain of 10."""
    return Tone(first_v / 10, 20.0, 0.0, wave=two_tones(first, second, second_v / first_v))


def sine(amplitude_v: float, frequency_hz: float = 1000.0) -> Tone:
    """At the output, behind a gain of 10."""
    return Tone(amplitude_v / 10, frequency_hz, 0.0)


BEND = {"at_v": 10.0, "second": 0.04, "third": 0.012}


def test_modulation_of_a_bend_is_that_of_its_polynomial() -> None:
    """a(f2±f1) = a2·A1·A2, a(f2±2f1) = 3/4·a3·A1²·A2, carrier A2 + a3(3/4·A2³ + 3/2·A1²·A2) (product of sines)."""
    at = lines(output_v(stage_of(tones(3, 350, 10.0, 2.5), bend=BEND)))
    assert at[[347, 353]] == pytest.approx([0.1, 0.1], rel=1e-4)
    assert at[[344, 356]] == pytest.approx([0.0225, 0.0225], rel=1e-4)
    assert at[350] == pytest.approx(2.54640625, rel=1e-6)


def test_difference_tones_of_a_bend_are_those_of_its_polynomial() -> None:
    """Two equal tones of half the voltage: a(f2-f1) = a2·A², a(2f1-f2) = 3/4·a3·A³ (product of sines)."""
    at = lines(output_v(stage_of(tones(19, 20, 5.0, 5.0), bend=BEND)))
    assert at[[1, 18, 21, 19]] == pytest.approx([0.1, 0.01125, 0.01125, 5.03375], rel=1e-4)


def test_harmonics_of_a_bend_are_those_of_its_polynomial() -> None:
    """a2·A²/2 and a3·A³/4 over A + 3/4·a3·A³ (power-reduction formulas)."""
    at = lines(output_v(stage_of(sine(10.0), bend=BEND)))
    assert at[2:4] / at[1] == pytest.approx([0.2 / 10.09, 0.03 / 10.09], rel=1e-6)


def test_the_rails_feed_what_a_bend_gives() -> None:
    """Mean square = dc² + half the squares of the lines (Parseval)."""
    stage = stage_of(sine(10.0), 0.25, bend=BEND)
    at = lines(stage.transfer.output_v(stage.asked_v(TURNS), HIGH_V))
    assert stage.means(HIGH_V).square_v2 == pytest.approx(at[0] ** 2 / 4 + np.sum(at[1:] ** 2) / 2, rel=1e-4)


def test_an_inverted_channel_is_the_other_upside_down() -> None:
    upright, inverted = (output_v(stage_of(sine(10.0), channel=each, inverted=("B",))) for each in "AB")
    assert inverted == pytest.approx(-upright, abs=1e-9)


def test_a_lagging_channel_lags_by_twice_the_arc_tangent() -> None:
    """2·atan(f/fc): 90 degrees at fc, 2·atan(2) = 126.87 degrees an octave above (all-pass of first order)."""
    for frequency_hz, degrees in ((200.0, 90.0), (400.0, 126.8699)):
        spectrum = np.fft.rfft(output_v(stage_of(sine(10.0, frequency_hz), channel="B", lag_hz={"B": 200.0})))
        assert np.degrees(np.angle(spectrum[1] * 1j)) == pytest.approx(-degrees, abs=0.02)
        assert 2 * abs(spectrum[1]) / len(TURNS) == pytest.approx(10.0, rel=1e-6)


@pytest.mark.parametrize(
    ("damping", "overshoot", "rise_in_omega"),
    [(0.2, 0.526621, 1.2034), (0.4, 0.253827, 1.4635), (0.7071, 0.043214, 2.1480), (0.8, 0.015165, 2.4675)],
)
def test_a_step_overshoots_and_rises_by_its_damping(damping: float, overshoot: float, rise_in_omega: float) -> None:
    """exp(-πζ/sqrt(1-ζ²)), and the time from 10 to 90 % over ω (step response of second order, by bisection)."""
    corner_hz = 20e3
    stage = stage_of(Tone(1.0, 500.0, 0.0, wave=square()), output_filter={"corner_hz": corner_hz, "damping": damping})
    times_s = np.linspace(0, 400e-6, 200_001)
    part = (output_v(stage, times_s * 500.0) / 10.0 + 1) / 2
    assert part.max() - 1 == pytest.approx(overshoot, abs=1e-3)
    ten, ninety = (times_s[np.argmax(part > level)] for level in (0.1, 0.9))
    assert (ninety - ten) * 2 * math.pi * corner_hz == pytest.approx(rise_in_omega, rel=3e-3)


def test_coupling_capacitors_tilt_a_square_wave() -> None:
    """The top falls from 2/(1+x) to 2x/(1+x), x = exp(-πfc/f): by 3.1413 % of its mean at fc/f = 0.01 (textbook)."""
    volts = output_v(stage_of(Tone(1.0, 500.0, 0.0, wave=square()), coupling_hz=5.0), np.array([0.0005, 0.4995]))
    tilt = (volts[0] - volts[1]) / np.mean(volts) / (0.499 / 0.5)
    assert tilt == pytest.approx(0.031413, rel=2e-3)


def test_a_slow_output_moves_in_straight_lines() -> None:
    """From 10 to 90 % of 80 V at 5 V/µs: 0.8·80/5 = 12.8 µs (definition of the slew rate)."""
    stage = stage_of(Tone(4.0, 1000.0, 0.0, wave=square()), slew_v_per_s=5e6)
    times_s = np.linspace(0, 100e-6, 100_001)
    volts = output_v(stage, times_s * 1000.0)
    ten, ninety = (times_s[np.argmax(volts > level)] for level in (-32.0, 32.0))
    assert ninety - ten == pytest.approx(12.8e-6, rel=2e-3)


def test_a_sine_far_too_steep_for_the_output_becomes_a_triangle() -> None:
    """Its peak is SR/(4f) = 12.5 V at 1 V/µs and 20 kHz, its distortion 12.115 % (Fourier series of a triangle)."""
    volts = output_v(stage_of(sine(40.0, 20e3), slew_v_per_s=1e6))
    assert np.max(np.abs(volts)) == pytest.approx(12.5, rel=2e-3)
    at = lines(volts)
    assert math.sqrt(np.sum(at[2:] ** 2)) / at[1] == pytest.approx(0.12115, rel=5e-3)


def test_a_sine_that_the_output_can_follow_is_not_changed() -> None:
    """2πfV = 5.0265 V/µs at 40 V and 20 kHz."""
    assert stage_of(sine(40.0, 20e3), slew_v_per_s=5.03e6).wave is None
    assert stage_of(sine(40.0, 20e3), slew_v_per_s=5.02e6).wave is not None


@pytest.mark.parametrize("frequency_hz", [20.0, 1000.0, 20e3])
def test_an_inductance_takes_its_share_at_high_frequencies(frequency_hz: float) -> None:
    """|R_L/(R_L + R + jωL)| with 4 ohm, the plate's 20 milliohm and 2 µH (voltage divider)."""
    stage = stage_of(sine(10.0, frequency_hz), 0.25, output_inductance_h=2e-6)
    expected = 4.0 / abs(4.02 + 2j * math.pi * frequency_hz * 2e-6)
    assert lines(output_v(stage))[1] == pytest.approx(10.0 * expected, rel=1e-6)
    unloaded = stage_of(sine(10.0, frequency_hz), OPEN_S, output_inductance_h=2e-6)
    assert lines(output_v(unloaded))[1] == pytest.approx(10.0, rel=1e-9)


def test_inputs_load_the_generator_and_a_resistor_before_one_of_them() -> None:
    """Both of 10 kohm on 50 ohm: 1/(1 + 50/5000); with 10 kohm before A, half of 1/(1 + 50·(1/20k + 1/10k))."""
    physical_bench = awake(describe(amplifier=physics_with(input_ohm=10e3)))
    drive, connections = physical_bench.connections.drive, physical_bench.connections
    drive.output_on, drive.level_v = True, 0.1
    asked = [stage.amplitude_v / math.sqrt(2) for stage in physical_bench.circuit().stages]
    assert asked == pytest.approx([1 / 1.01, 1 / 1.01], rel=1e-6)
    connections.series_ohm["A"] = 10e3
    asked = [stage.amplitude_v / math.sqrt(2) for stage in physical_bench.circuit().stages]
    assert asked == pytest.approx([0.5 / 1.0075, 1 / 1.0075], rel=1e-6)


def test_without_imperfections_nothing_is_changed() -> None:
    stage = stage_of(sine(10.0), 0.25)
    assert (stage.wave, stage.filtered, stage.transfer.bend) == (None, None, None)


def test_a_bridge_bends_as_a_whole() -> None:
    """The same harmonics as one output of the same voltage: the bend is told for the whole output."""
    given = {"imperfections": {"bend": BEND}, "gain": 10.0, "offset_v": {"A": 0.0, "B": 0.0}}
    plate = replace(PLATE, floating=True)
    physics = derive_physics(plate, AmplifierSimulation.model_validate(given))
    stage = output_of(physics, plate, "A").stage(sine(10.0), OPEN_S)
    at = lines(2 * output_v(stage))
    assert at[2:4] / at[1] == pytest.approx([0.2 / 10.09, 0.03 / 10.09], rel=1e-6)


def distortion(stage: OutputStage) -> float:
    """All but the fundamental, over it."""
    at = lines(output_v(stage))
    return float(math.sqrt(np.sum(at[2:] ** 2)) / at[1])


def beyond_class_a(amplitude_v: float, class_a_v: float, dead_v: float) -> float:
    """THD of a sine that loses `dead_v` beyond `class_a_v`, at once or little by little over four times as much, by
    scipy's integrals of its Fourier series."""

    def output(angle: float) -> float:
        size = amplitude_v * math.sin(angle)
        if not class_a_v:
            return max(size - dead_v, 0.0)
        return size - dead_v * (1 - math.exp(-max(size - class_a_v, 0.0) / (4 * dead_v)))

    bends = [math.asin(v / amplitude_v) for v in (class_a_v or dead_v,) if v < amplitude_v] or None
    half = math.pi / 2
    square = integrate.quad(lambda x: output(x) ** 2, 0, half, points=bends, limit=200)[0] / half
    tone = integrate.quad(lambda x: output(x) * math.sin(x), 0, half, points=bends, limit=200)[0] * 4 / math.pi
    return math.sqrt(max(square - tone**2 / 2, 0.0) * 2) / tone


@pytest.mark.parametrize("amplitude_v", [0.05, 0.066, 0.075, 0.2, 3.0, 30.0])
def test_distortion_beyond_class_a_rises_to_a_hump_and_falls_again(amplitude_v: float) -> None:
    """20 mV lost beyond 50 mV: nothing below, some per cent above, then as the lost part of ever more."""
    physics = AmplifierSimulation.model_validate(
        {"imperfections": {"class_a_v": 0.05}, "crossover_v": 0.02, "gain": 10.0, "offset_v": {"A": 0.0, "B": 0.0}}
    )
    stage = output_of(derive_physics(PLATE, physics), PLATE, "A").stage(sine(amplitude_v), OPEN_S)
    assert distortion(stage) == pytest.approx(beyond_class_a(amplitude_v, 0.05, 0.02), rel=2e-3, abs=2e-6)


def test_bias_that_gives_way_keeps_distortion_up_as_the_level_rises() -> None:
    """A dead zone of 1 % of the amplitude: the same distortion at any level, that of 0.1 V lost of 10 V."""
    yielding = [distortion(stage_of(sine(volts), crossover_under_drive=0.01)) for volts in (1.0, 10.0)]
    assert yielding == pytest.approx([beyond_class_a(10.0, 0.0, 0.1)] * 2, rel=2e-3)


def test_a_bump_around_one_voltage_distorts_tones_that_just_reach_it_most() -> None:
    """A Gaussian bump of 0.4 V at 8 V, 0.5 V wide, by scipy's integrals; below it nothing."""

    def by_integrals(amplitude_v: float) -> float:
        def output(angle: float) -> float:
            size = amplitude_v * math.sin(angle)
            return size + 0.4 * math.exp(-(((size - 8.0) / 0.5) ** 2))

        half = math.pi / 2
        square = integrate.quad(lambda x: output(x) ** 2, 0, half, limit=500)[0] / half
        tone = integrate.quad(lambda x: output(x) * math.sin(x), 0, half, limit=500)[0] * 4 / math.pi
        return math.sqrt(max(square - tone**2 / 2, 0.0) * 2) / tone

    bump = {"at_v": 8.0, "height_v": 0.4, "width_v": 0.5}
    found = {volts: distortion(stage_of(sine(volts), switch_over=bump)) for volts in (5.0, 8.0, 40.0)}
    assert found[8.0] == pytest.approx(by_integrals(8.0), rel=1e-3)
    assert found[40.0] == pytest.approx(by_integrals(40.0), rel=1e-2)
    assert found[5.0] < 1e-4 < 10 * found[40.0] < found[8.0]


def test_a_compressor_lets_the_gain_fall_and_rise_with_its_time_constants() -> None:
    """Threshold 10 V, 4:1, 20 V asked for: 10·2^(1/4) V in the end; on the way target + (start - target)·exp(-t/τ)."""
    of = CompressorSimulation(threshold_v=10.0, ratio=4.0, attack_s=0.01, release_s=0.1)
    compressor = Compressor(of)
    end = 2.0**-0.75
    assert compressor.settled(20.0) == pytest.approx(end)
    compressor.follow(1.0, 20.0)
    compressor.follow(1.01, 20.0)
    assert compressor.gain == pytest.approx(end + (1 - end) * math.exp(-1))
    compressor.follow(2.0, 1.0)
    assert compressor.gain == pytest.approx(end)
    compressor.follow(2.1, 1.0)
    assert compressor.gain == pytest.approx(1 + (end - 1) * math.exp(-1))


def test_a_compressor_is_followed_step_by_step_until_it_has_settled() -> None:
    """Every look moves the gain by no more than a step, and there is a last one."""
    compressor = Compressor(CompressorSimulation(threshold_v=10.0))
    now_s, looks = 0.0, 0
    while (next_s := compressor.follow(now_s, 20.0)) < math.inf:
        gain = compressor.gain
        compressor.follow(next_s, 20.0)
        assert abs(compressor.gain - gain) <= GAIN_STEP * 1.001
        now_s, looks = next_s, looks + 1
    assert compressor.gain == compressor.settled(20.0)
    assert looks < 400


def test_a_burst_through_a_compressor_begins_loud() -> None:
    """At the bench: 20 V asked for, held to 10 V after many attacks of 10 ms; at the start it is at 20 V."""
    of = {"threshold_v": 10.0, "ratio": 1e6, "attack_s": 0.01, "release_s": 1.0}
    physical_bench = awake(describe(amplifier=physics_with(compressor=of)))
    drive = physical_bench.connections.drive
    drive.output_on, drive.level_v = True, 2.0
    asked = [physical_bench.circuit().stages[0].amplitude_v / math.sqrt(2)]
    for later_s in (0.01, 0.5):
        physical_bench.advance(2.0 + later_s)
        asked.append(physical_bench.circuit().stages[0].amplitude_v / math.sqrt(2))
    assert asked == pytest.approx([20.0, 10.0 + 10.0 * math.exp(-1), 10.0], rel=5e-3)
