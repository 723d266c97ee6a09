"""Load resistors: four-wire by the bench's multimeter, or by typed volts and amperes; cold, and warm if wanted."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from statistics import fmean, pstdev

from uncertainties import UFloat

from benchctl.cli.shown.calibrating.asking import (
    SKIP,
    accuracy_of,
    choose,
    current_of_meter,
    done,
    tell,
    value_of,
    value_or_none,
)
from benchctl.cli.shown.calibrating.measured import Measured, rendered_ratio
from benchctl.documents.bench_file.resistors import LoadResistor, Resistor
from benchctl.documents.model.fields import NotNegativeKelvins, PositiveAmperes, PositiveVolts, Temperature
from benchctl.errors import InstrumentError, MeasurementError
from benchctl.launch.calibrate import Desk
from benchctl.measure.calibration import (
    LEAST_RISE_K,
    Ohmmeter,
    TwoMeters,
    VoltsAmperes,
    Warmth,
    at_reference,
    from_two_temperatures,
    stated,
)
from benchctl.quantity import render

METER, TYPED = "meter", "typed"
_BY_METER, _BY_TWO = "four-wire by the multimeter", "volts over amperes"


@dataclass(frozen=True)
class _Taken:
    """A resistance as it was measured, and how warm the resistor was."""

    resistance: UFloat
    warmth: Warmth
    current_a: float


class Loads:
    """Every load resistor of the bench in turn. What two resistors are measured with is asked for once."""

    def __init__(self, desk: Desk, today: datetime.date) -> None:
        self._desk = desk
        self._today = today
        self._is_four_wire: bool | None = None

    def measured(self) -> Iterator[Measured]:
        """The resistors that were measured. However it ends, no load stays connected, or that is told."""
        try:
            for resistor in self._desk.file.load_resistors:
                yield from self._tried(resistor)
        finally:
            self._disconnect()

    def _disconnect(self) -> None:
        """What was measured is no worse for it."""
        try:
            self._desk.disconnect()
        except InstrumentError as error:
            tell(f"NOT CONFIRMED that the load relays are open: {error}")

    def _tried(self, resistor: LoadResistor) -> Iterator[Measured]:
        tell(f"\n{_capital(resistor.name)}, now {_now(resistor)}:")
        try:
            found = self._one(resistor)
        except (MeasurementError, InstrumentError) as error:
            tell(f"It is left out: {error.message}.")
            return
        if found is not None:
            yield found

    def _one(self, resistor: LoadResistor) -> Measured | None:
        points = self._desk.points_for(resistor.channel)
        ways = (METER, TYPED, SKIP) if points else (TYPED, SKIP)
        way = choose("By the bench's multimeter, or by readings that you type", ways, ways[0])
        if way == SKIP:
            return None
        if not isinstance(resistor, Resistor):
            done(f"Connect {resistor.name}, and no other.")
        self._desk.connect(resistor)
        point = self._point_of(points) if way == METER else None
        take = (lambda: self._by_meter(resistor, point)) if point is not None else (lambda: self._by_two(resistor))
        return self._result(resistor, take, _BY_METER if point is not None else _BY_TWO)

    def _point_of(self, points: Sequence[str]) -> str:
        if len(points) == 1:
            return points[0]
        return choose("Which of the multimeter's points is at its ends", points, points[0])

    def _result(self, resistor: LoadResistor, take: Callable[[], _Taken], how: str) -> Measured:
        cold = take()
        coefficient = None
        value = at_reference(cold.resistance, resistor.temperature_coefficient_per_k, cold.warmth)
        if choose("Measure it warm too, for its temperature coefficient", ("yes", "no"), "no") == "yes":
            done(f"Warm it by {LEAST_RISE_K:g} K and more, and wait until its temperature stands still.")
            warm = take()
            both = from_two_temperatures(cold.resistance, cold.warmth, warm.resistance, warm.warmth)
            value, coefficient = both.resistance, both.coefficient
            tell(f"Temperature coefficient: {render(float(coefficient.nominal_value), '1/K')}.")
        return Measured.of_resistor(resistor, stated(value), value, coefficient, cold.current_a, how, self._today)

    # -- by the multimeter ---------------------------------------------------------------------------------------------

    @cached_property
    def _meter_a(self) -> float:
        return current_of_meter()

    def _by_meter(self, resistor: LoadResistor, point: str) -> _Taken:
        self._check_four_wire(point)
        ohmmeter = Ohmmeter(self._desk.accuracy_at(point), self._meter_a)
        done(
            f"Put the multimeter's four leads onto the ends of the leads of output {resistor.channel}, where the "
            "amplifier's terminals belong: a current lead and a sense lead at each end."
        )
        forward = self._readings(point)
        exchanged: list[float] = []
        if done("Exchange the two ends, all four leads: thermal voltages then cancel.", may_skip=True):
            exchanged = self._readings(point)
        return _Taken(ohmmeter.resistance(forward, exchanged), self._warmth(), self._meter_a)

    def _check_four_wire(self, point: str) -> None:
        """Asked once: two leads would measure themselves too, and nothing in an answer tells."""
        if self._is_four_wire is None:
            question = f"The driver file sends '{self._desk.words_of(point)}'. Is that a measurement with four leads"
            self._is_four_wire = choose(question, ("yes", "no"), "no") == "yes"
        if not self._is_four_wire:
            raise MeasurementError(
                "with two leads their own resistance is measured too; give the multimeter a driver file of your own "
                "whose 'measure_resistance' asks for four leads, such as 'MEAS:FRES?', or type readings"
            )

    def _readings(self, point: str) -> list[float]:
        readings = self._desk.resistances(point)
        tell(f"{len(readings)} readings: mean {fmean(readings):.6g} ohm, scatter {1e3 * pstdev(readings):.2g} mohm.")
        return readings

    # -- by two meters that a person reads -----------------------------------------------------------------------------

    @cached_property
    def _meters(self) -> TwoMeters:
        return TwoMeters(accuracy_of("voltmeter", "0.1 %"), accuracy_of("ammeter", "0.2 %"))

    def _by_two(self, resistor: LoadResistor) -> _Taken:
        tell(
            f"Send a steady dc current through the leads of output {resistor.channel}, and read the voltage at their "
            "ends, where the amplifier's terminals belong. Its heat is in the value: wait until both stand still."
        )
        meters = self._meters
        forward = VoltsAmperes(value_of("Voltage", PositiveVolts), value_of("Current", PositiveAmperes))
        backward = None
        volts = value_or_none("Voltage with the current reversed, without its sign", PositiveVolts)
        if volts is not None:
            backward = VoltsAmperes(volts, value_of("Current then, without its sign", PositiveAmperes))
        return _Taken(meters.resistance(forward, backward), self._warmth(), forward.amperes)

    def _warmth(self) -> Warmth:
        seen = self._desk.load_warmth()
        if seen is not None:
            tell(f"The sensor at the load resistors shows {seen.temperature_c:.1f} degC.")
            return seen
        temperature_c = value_of("Temperature of the resistor", Temperature, "23 degC")
        return Warmth(temperature_c, value_of("By how much that may be off", NotNegativeKelvins, "2 K"))


def _now(resistor: LoadResistor) -> str:
    return f"{resistor.measured_ohm:g} ohm ± {rendered_ratio(resistor.uncertainty)}"


def _capital(text: str) -> str:
    return text[0].upper() + text[1:]
