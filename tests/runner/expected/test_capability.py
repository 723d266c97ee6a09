"""The most that an amplifier may give and draw is never less than it does; what is expected is near it."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from benchctl import library
from benchctl.documents.bench_file.instruments import RelayBank
from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.launch.simulated.description import describe
from benchctl.runner.expected.capability import EXPECTED, MOST, Capability
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchmarks.sequences.trials import BENCHES
from tests.runner.rig import Edits, amplifier_file
from tests.simulator.benches import awake

NAMES = sorted(library.shipped("amplifiers").keys() - {"lw1200_lowpass"})  # which is the LW 1200 behind filters
PLATES = [(name, line.load_ohm) for name in NAMES for line in load_amplifier(name).rated]


def most(edits: Edits | None = None, *, load_ohm: float = 4.0, supply_v: float = 14.4) -> Capability:
    """The HX 2150: 150 W at each of two channels into 4 ohm and 250 W into 2 ohm, from 14.4 V, 1.6 A at idle."""
    return Capability(amplifier_file(edits), load_ohm, supply_v, MOST)


# -- power ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("supply_v", [10.5, 14.4, 16.0])
def test_unregulated_rails_make_power_go_with_the_square_of_the_supply(supply_v: float) -> None:
    assert most(supply_v=supply_v).full_w == pytest.approx(1.2 * 150.0 * (supply_v / 14.4) ** 2)


@pytest.mark.parametrize("supply_v", [10.5, 14.4, 16.0])
def test_regulated_rails_hold_the_power(supply_v: float) -> None:
    assert most({"rails: unregulated": "rails: regulated"}, supply_v=supply_v).full_w == pytest.approx(1.2 * 150.0)


@pytest.mark.parametrize(("supply_v", "power_w"), [(10.5, 150.0), (14.4, 150.0), (16.0, 150.0 * (16.0 / 14.4) ** 2)])
def test_of_rails_that_nobody_told_of_the_worse_is_taken(supply_v: float, power_w: float) -> None:
    assert most({"rails: unregulated": "# rails:"}, supply_v=supply_v).rated_w == pytest.approx(power_w)


@pytest.mark.parametrize(
    ("load_ohm", "power_w"),
    [(4.0, 150.0), (2.0, 250.0), (8.0, 600.0 / 8.0), (3.0, 600.0 / 3.0), (1.0, 500.0)],
)
def test_into_a_load_that_the_plate_does_not_rate_goes_the_voltage_of_the_next_lighter_one(
    load_ohm: float, power_w: float
) -> None:
    """600 V² are 150 W into 4 ohm, 500 V² are 250 W into 2 ohm; a heavier load makes rails sag, a lighter one not."""
    assert most(load_ohm=load_ohm).rated_w == pytest.approx(power_w)


# -- draw ----------------------------------------------------------------------------------------------------------


def test_a_linear_stage_draws_a_current_that_goes_with_its_output_voltage() -> None:
    """A quarter of the power is half of the voltage, and half of the current."""
    unit = most()
    idle_a = unit.supply_a(0.0)
    assert idle_a == 1.6
    assert unit.supply_a(unit.full_w / 4.0) - idle_a == pytest.approx((unit.supply_a(unit.full_w) - idle_a) / 2.0)


def test_a_switching_stage_draws_a_current_that_goes_with_its_output_power() -> None:
    unit = most({"class: AB": "class: D"})
    assert unit.supply_a(unit.full_w / 4.0) - 1.6 == pytest.approx((unit.supply_a(unit.full_w) - 1.6) / 4.0)


@pytest.mark.parametrize(("amplitude", "square", "absolute"), [(1.0, 1.0, 1.0), (1e6, 2.0, math.pi / 2.0)])
def test_clipping_ends_in_a_square_wave(amplitude: float, square: float, absolute: float) -> None:
    """Of twice the mean square and pi / 2 times the mean of a sine with the same peak."""
    unit = most()
    asked_w = amplitude**2 * unit.full_w
    assert unit.given_w(asked_w) == pytest.approx(square * unit.full_w, rel=1e-5)
    drawn_w = unit.supply_w(unit.full_w)
    assert unit.supply_w(asked_w) == pytest.approx(absolute * drawn_w, rel=1e-5)


def test_a_clipped_sine_is_what_its_samples_say() -> None:
    """Driven to 1.5 times what is not clipped, against the means of a million samples."""
    unit = most()
    cycle = 1.5 * np.sin(2.0 * np.pi * np.arange(1_000_000) / 1_000_000)
    square, absolute = np.mean(np.clip(cycle, -1.0, 1.0) ** 2), np.mean(np.abs(np.clip(cycle, -1.0, 1.0)))
    asked_w = 1.5**2 * unit.full_w
    assert unit.given_w(asked_w) / unit.full_w == pytest.approx(2.0 * square, rel=1e-5)
    assert unit.supply_w(asked_w) / unit.supply_w(unit.full_w) == pytest.approx(math.pi / 2.0 * absolute, rel=1e-5)


def simulated(name: str, load_ohm: float, supply_v: float) -> PhysicalBench:
    """The shipped amplifier awake on its bench, every channel loaded."""
    bench, amplifier = load_bench(BENCHES[name]), load_amplifier(name)
    bank = bench.instruments.load
    assert isinstance(bank, RelayBank)
    relays = tuple(resistor.relay for resistor in bank.resistors_for(load_ohm).values())
    exact = bench.model_copy(update={"simulation": None})
    described = describe(exact, amplifier)
    errorless = replace(described, bench=described.bench.model_copy(update={"instrument_errors": "none"}))
    return awake(errorless, relays, supply_v)


def playing(physical_bench: PhysicalBench, level_v: float) -> tuple[float, float]:
    """Mean supply current, and the power in all loads, once the rails have come to rest."""
    physical_bench.connections.main_output.limit_a = 1e3
    (
        physical_bench.connections.drive.output_on,
        physical_bench.connections.drive.level_v,
        physical_bench.connections.drive.frequency_hz,
    ) = True, level_v, 100.0
    physical_bench.advance(physical_bench.time_s + 0.2)
    before_j, from_s = physical_bench.meters.loads, physical_bench.time_s
    physical_bench.advance(from_s + 0.05)
    return physical_bench.supply_means(1, 0.05).current_a, (physical_bench.meters.loads - before_j) / 0.05


@pytest.mark.parametrize(("name", "load_ohm"), PLATES)
def test_no_shipped_amplifier_draws_or_gives_more_than_preflight_reckons_with(name: str, load_ohm: float) -> None:
    """From a whisper to twice the drive of rated power, at its lowest supply voltage and at its highest."""
    amplifier = load_amplifier(name)
    rated_v = amplifier.rated_voltage_v(load_ohm) / amplifier.gain_ratio
    for supply_v in (amplifier.supply.minimum_v, amplifier.supply.maximum_v):
        unit, physical_bench = Capability(amplifier, load_ohm, supply_v, MOST), simulated(name, load_ohm, supply_v)
        for part in (0.1, 1.0, 2.0):
            current_a, power_w = playing(physical_bench, part * rated_v)
            asked_w = part**2 * amplifier.rated_voltage_v(load_ohm) ** 2 / load_ohm
            assert current_a <= unit.supply_a(asked_w), (supply_v, part)
            # The gain may be a little more than the plate's.
            assert power_w / len(amplifier.channels) <= 1.1 * unit.given_w(asked_w), (supply_v, part)


@pytest.mark.parametrize(("name", "load_ohm"), PLATES)
def test_what_is_expected_at_rated_drive_is_what_a_shipped_amplifier_draws_to_a_sixth(
    name: str, load_ohm: float
) -> None:
    amplifier = load_amplifier(name)
    physical_bench = simulated(name, load_ohm, amplifier.supply.nominal_v)
    current_a, power_w = playing(physical_bench, amplifier.rated_voltage_v(load_ohm) / amplifier.gain_ratio)
    unit = Capability(amplifier, load_ohm, amplifier.supply.nominal_v, EXPECTED)
    assert unit.supply_a(power_w / len(amplifier.channels)) == pytest.approx(current_a, rel=1 / 6)
