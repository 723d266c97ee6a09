"""Dc that wanders: how far, how slowly, and who sees it."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from scipy import stats

from benchctl.documents.amplifier_file.simulation import AmplifierSimulation
from benchctl.documents.bench_file.simulation import BenchSimulation
from benchctl.simulator.amplifier.wander import Wander
from benchctl.simulator.physics import derive_physics
from tests.simulator.benches import PLATE, describe
from tests.simulator.talk import Room

TIMES_S = np.arange(0.0, 10_000.0, 1.0)


def room_with(**imperfections: object) -> Room:
    """An exact and quiet bench without dc, powered."""
    given = {"noise_v": 0.0, "offset_v": {"A": 0.0, "B": 0.0}, "imperfections": imperfections}
    physics = derive_physics(PLATE, AmplifierSimulation.model_validate(given))
    room = Room(describe(amplifier=physics, bench=BenchSimulation(seed=7, instrument_errors="none")))
    room.power_on(101, 102)
    room.play(0.0)
    return room


def dc_v(room: Room, channel: int) -> float:
    """At the probe's tip, 1:20, within 50 ms."""
    room.record(channel, 0.001, span_s=0.05, samples=5000)
    return 20.0 * float(np.mean(room.volts(channel)))


@pytest.mark.parametrize("seed", [1, 2])
def test_it_has_its_rms_about_zero_and_is_about_normal(seed: int) -> None:
    """5 % of a normal distribution lie beyond 1.96 standard deviations; a sum of 12 sines has a kurtosis of
    3 - 1.5/12."""
    volts = Wander(2e-4, random.Random(seed)).at(TIMES_S)
    assert np.mean(volts) == pytest.approx(0.0, abs=4e-6)
    assert np.std(volts) == pytest.approx(2e-4, rel=0.02)
    assert np.mean(np.abs(volts) > 1.96 * 2e-4) == pytest.approx(0.05, abs=0.01)
    assert stats.kurtosis(volts) == pytest.approx(-1.5 / 12, abs=0.1)


def test_it_stays_within_a_record_and_moves_between_two() -> None:
    """In 50 ms a sine of the shortest period moves by 2π·0.05/4 of its amplitude at most."""
    wander = Wander(1.0, random.Random(1))
    volts = wander.at(TIMES_S)
    assert np.std(wander.at(TIMES_S + 0.05) - volts) < 2 * math.pi * 0.05 / 4
    assert abs(np.corrcoef(volts[:-60], volts[60:])[0, 1]) < 0.35, "a minute later"


def test_every_record_of_one_instant_shows_the_same() -> None:
    wander = Wander(1.0, random.Random(1))
    long = wander.at(np.arange(5.03, 9.0, 1e-3))
    assert wander.at(np.arange(5.03, 9.0, 1e-3)[1700:1705]) == pytest.approx(long[1700:1705])


def test_records_of_that_output_alone_show_it() -> None:
    """1 mV RMS in 25 records 8 s apart; the other output and the circuit stay to the last bit what they are without."""
    room, still = room_with(dc_wander_v={"A": 1e-3}), room_with()
    circuit = room.physical_bench.circuit()
    found_v = []
    for _ in range(25):
        found_v.append(dc_v(room, 1))
        room.wait(7.0)
    assert np.std(found_v) == pytest.approx(1e-3, rel=0.3)
    assert room.physical_bench.circuit() is circuit
    assert abs(dc_v(still, 1)) < 2e-5
    room, still = room_with(dc_wander_v={"A": 1e-3}), room_with()
    assert dc_v(room, 2) == dc_v(still, 2)
