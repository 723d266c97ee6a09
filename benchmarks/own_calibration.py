"""How often the true power lies within its stated uncertainty, before and after a load bank was calibrated.

Each draw is a bench of its own. Its load resistor is up to 2 % off its nominal value while the bench file claims 0.2 %;
multimeter, thermometer, oscilloscope and probe have true errors drawn evenly within their limits. The resistor is
measured as `benchctl calibrate` does, cold and warm, with the leads exchanged; then the power of a tone into the hot
resistor is computed with the file's nominal values and with the measured ones. Everything is computed by the functions
that the program uses; no instrument is simulated, so a thousand draws take seconds.

    python -m benchmarks.own_calibration --draws 1000
"""

from __future__ import annotations

import argparse
import random
import sys
from dataclasses import dataclass

from uncertainties import UFloat

from benchctl.measure.budget.power import load_power
from benchctl.measure.calibration import (
    READINGS,
    REFERENCE_C,
    THERMAL_EMF_V,
    Ohmmeter,
    Stated,
    Warmth,
    from_two_temperatures,
    stated,
)
from benchctl.measure.freedom import expanded
from benchctl.measure.uncertainty import COVERAGE_FACTOR, Accuracy, ErrorOf, LoadResistance, exactly

COVERED = (0.93, 0.975)
NOMINAL_OHM, CLAIMED, TRULY_OFF = 4.0, 0.002, 0.02
COEFFICIENT = 60e-6
COLD_C, WARM_C, PLAYING_C = 22.0, 80.0, 95.0
METER, METER_A, METER_NOISE_OHM = Accuracy(reading=0.0005, fixed=0.004), 1e-3, 1e-4
OSCILLOSCOPE, PROBE = Accuracy(reading=0.003), Accuracy(reading=0.003)
SENSOR_K = 1.0
TONE_V = 20.0


@dataclass(frozen=True)
class Truth:
    """What is true of one bench."""

    ohm: float
    coefficient_per_k: float
    meter_gain: float
    meter_zero_ohm: float
    emf_v: float
    sensor_k: float
    chain_gain: float

    def at(self, temperature_c: float) -> float:
        """The resistance."""
        return self.ohm * (1.0 + self.coefficient_per_k * (temperature_c - REFERENCE_C))


@dataclass(frozen=True)
class Outcome:
    """Whether the true power lay within U, with the file's values and with the measured ones."""

    nominal: bool
    calibrated: bool


def drawn(chance: random.Random) -> Truth:
    """One bench."""

    def within(limit: float) -> float:
        return chance.uniform(-limit, limit)

    return Truth(
        ohm=NOMINAL_OHM * (1.0 + within(TRULY_OFF)),
        coefficient_per_k=COEFFICIENT * (1.0 + within(1.0)),
        meter_gain=within(METER.reading),
        meter_zero_ohm=within(METER.fixed),
        emf_v=within(THERMAL_EMF_V),
        sensor_k=within(SENSOR_K),
        chain_gain=within(OSCILLOSCOPE.reading) + within(PROBE.reading),
    )


def calibrated(truth: Truth, chance: random.Random) -> tuple[Stated, float, float]:
    """The resistance at 20 degC, its temperature coefficient and that one's uncertainty, as the calibration file has
    them."""
    ohmmeter = Ohmmeter(METER, METER_A)
    (cold, cold_at), (warm, warm_at) = (_measured(truth, each_c, ohmmeter, chance) for each_c in (COLD_C, WARM_C))
    found = from_two_temperatures(cold, cold_at, warm, warm_at)
    own_per_k = COVERAGE_FACTOR * float(found.coefficient.std_dev)
    return stated(found.resistance), float(found.coefficient.nominal_value), own_per_k


def _measured(truth: Truth, true_c: float, ohmmeter: Ohmmeter, chance: random.Random) -> tuple[UFloat, Warmth]:
    forward, exchanged = (
        [
            truth.at(true_c) * (1.0 + truth.meter_gain)
            + truth.meter_zero_ohm
            + sign * truth.emf_v / METER_A
            + chance.gauss(0.0, METER_NOISE_OHM)
            for _ in range(READINGS)
        ]
        for sign in (1, -1)
    )
    return ohmmeter.resistance(forward, exchanged), Warmth(true_c + truth.sensor_k, SENSOR_K)


def _covers(truth: Truth, ohm: float, uncertainty: float, coefficient_per_k: float, own_per_k: float = 0.0) -> bool:
    """Whether the true power lies within that stated with these values of the load."""
    load = LoadResistance(
        NOMINAL_OHM,
        ohm,
        uncertainty,
        coefficient_per_k,
        temperature_c=PLAYING_C + truth.sensor_k,
        temperature_uncertainty_k=SENSOR_K / 3**0.5,
        temperature_coefficient_uncertainty_per_k=own_per_k,
    )
    volts = ErrorOf((OSCILLOSCOPE, PROBE), of="output").on_difference(exactly(TONE_V * (1.0 + truth.chain_gain)))
    power_w = load_power(volts, load.resistance())
    error_w = float(power_w.nominal_value) - TONE_V**2 / truth.at(PLAYING_C)
    return abs(error_w) <= expanded(power_w)[0]


def outcome(seed: int) -> Outcome:
    """One bench, measured and used."""
    chance = random.Random(seed)
    truth = drawn(chance)
    found, coefficient, own_per_k = calibrated(truth, chance)
    return Outcome(
        nominal=_covers(truth, NOMINAL_OHM, CLAIMED, COEFFICIENT),
        calibrated=_covers(truth, found.value, found.relative_uncertainty, coefficient, own_per_k),
    )


def shares(draws: int) -> tuple[float, float]:
    """The covered part with the file's nominal values, and with the measured ones."""
    outcomes = [outcome(seed) for seed in range(draws)]
    return sum(each.nominal for each in outcomes) / draws, sum(each.calibrated for each in outcomes) / draws


def main() -> None:
    """Print both parts; exit code 1 where the calibrated one is not as it should be."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--draws", type=int, default=1000)
    draws = parser.parse_args().draws
    before, after = shares(draws)
    print(f"true power within U, {draws} draws: nominal values {before:.1%}, after calibration {after:.1%}")
    sys.exit(0 if COVERED[0] <= after <= COVERED[1] else 1)


if __name__ == "__main__":
    main()
