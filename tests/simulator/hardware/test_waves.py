"""Two tones and square waves through the whole bench: what a probe sees, and the energy that they take."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from benchctl.documents.amplifier_file.filters import CrossoverFilter
from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.simulator.hardware import waveforms
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.hardware.waveforms import Samples
from benchctl.simulator.physics import derive_physics
from benchctl.simulator.wave import Wave, square, two_tones
from tests.simulator.benches import PLATE, accounted_j, awake, describe

NO_OFFSET = {"A": 0.0, "B": 0.0}


def bench(**physics: object) -> PhysicalBench:
    """The workshop's bench with 4 ohm at both outputs, playing nothing yet."""
    simulation = AmplifierSimulation.model_validate({"offset_v": NO_OFFSET, **physics})
    return awake(describe(amplifier=derive_physics(PLATE, simulation)), relays=(101, 102))


def play(physical_bench: PhysicalBench, wave: Wave, cycle_hz: float, amplitude_v: float) -> float:
    """From now on; returns when."""
    drive = physical_bench.connections.drive
    drive.output_on, drive.wave, drive.frequency_hz = True, wave, cycle_hz
    drive.level_v, drive.phase_origin_s = amplitude_v / np.sqrt(2), physical_bench.time_s
    return physical_bench.time_s


def seen_v(physical_bench: PhysicalBench, times_s: Samples) -> Samples:
    """Output A, with the last tone before; the bench goes on as far as it needs."""
    from_s = float(times_s[0]) - 0.01
    physical_bench.watch(_Memory(from_s))
    physical_bench.advance(float(times_s[-1]))
    spans = physical_bench.history.between(from_s, float(times_s[-1]))
    return waveforms.output_v(spans, np.concatenate([[from_s], times_s]), 0)[1:]


class _Memory:
    def __init__(self, from_s: float) -> None:
        self._from_s = from_s

    def remembers_from(self) -> float:
        return self._from_s

    def look(self, from_s: float, to_s: float) -> None:
        """Nothing to do."""


@pytest.mark.parametrize("wave", [square(), two_tones(3, 350, 0.25)], ids=["square", "two tones"])
@pytest.mark.parametrize("amplitude_v", [0.3, 3.0])
def test_every_joule_of_any_wave_is_accounted_for(wave: Wave, amplitude_v: float) -> None:
    """At 3 V both are far into clipping."""
    physical_bench = bench()
    play(physical_bench, wave, 100.0, amplitude_v)
    physical_bench.advance(physical_bench.time_s + 0.5)
    assert accounted_j(physical_bench) == pytest.approx(physical_bench.meters.supplied, rel=1e-3)


def test_two_tones_give_the_load_the_power_of_both() -> None:
    """Peak 20 V at 4:1: (16² + 4²)/2/4 = 34 W, less what the output resistance of 20 milliohm takes (closed form)."""
    physical_bench = bench()
    play(physical_bench, two_tones(3, 350, 0.25), 20.0, 16.0 / 31.6)
    physical_bench.advance(physical_bench.time_s + 1.0)
    before_j, before_s = physical_bench.meters.loads, physical_bench.time_s
    physical_bench.advance(before_s + 1.0)
    each_w = (physical_bench.meters.loads - before_j) / 2
    assert each_w == pytest.approx(34.0 / (1 + 0.02 / 4) ** 2, rel=1e-3)


def test_a_square_wave_begins_through_a_filter_as_a_simulated_circuit_does() -> None:
    """A high-pass of 60 Hz and 12 dB, by scipy's simulation of the state equations."""
    high_pass = CrossoverFilter(kind="high-pass", corner_hz=60.0, slope="12 dB/octave")
    physical_bench = bench(filters=(high_pass,), output_resistance_ohm=0.0)
    start_s = play(physical_bench, square(), 100.0, 0.1)
    # Between two edges; at an edge the filter passes it on at once.
    since_s = (np.arange(20_000) + 0.5) * 2e-6
    numerator, denominator = signal.butter(2, 2 * np.pi * 60.0, "high", analog=True)
    asked_v = 3.16 * np.where((since_s * 100.0) % 1.0 < 0.5, 1.0, -1.0)
    _, expected, _ = signal.lsim((numerator, denominator), asked_v, since_s, interp=False)
    away = np.abs((since_s * 200.0 + 0.5) % 1.0 - 0.5) > 0.01
    assert seen_v(physical_bench, start_s + since_s)[away] == pytest.approx(expected[away], abs=0.01)


def test_a_clipped_square_wave_stands_at_the_rail() -> None:
    """Less saturation and output resistance; a square wave is at its peak all the time."""
    physical_bench = bench()
    start_s = play(physical_bench, square(), 1000.0, 3.0)
    physical_bench.advance(start_s + 1.0)
    limit_v = physical_bench.circuit().limit_v(physical_bench.rail_v) / (1 + 0.02 / 4)
    seen = seen_v(physical_bench, physical_bench.time_s + np.arange(1000) * 1e-6)
    assert (seen.max(), seen.min()) == (pytest.approx(limit_v, rel=1e-3), pytest.approx(-limit_v, rel=1e-3))
