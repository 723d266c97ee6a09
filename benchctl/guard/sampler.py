"""What the guard reads by itself, an instrument at a time.

Each instrument is read by a thread of its own: one that does not answer must not keep the others from being watched.
Readings that cease to come are noticed by the guard before their own thread is back.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence, Set
from dataclasses import dataclass
from functools import partial

from benchctl.documents.model.limits import SUPPLY_SIGNALS, output_signal
from benchctl.guard.limits import SUPPLY_PROTECTION, SUPPLY_WATCHDOG
from benchctl.guard.read_back import READ_BACK_PERIOD_S, ReadBack
from benchctl.instruments.bench import Bench
from benchctl.instruments.supply import Supply
from benchctl.instruments.thermometer import Thermometer

SAMPLING_PERIOD_S = 0.2
# A heatsink of a kilogram moves by hundredths of a kelvin in a second.
TEMPERATURE_PERIOD_S = 1.0
# What feeds the turn-on lead and the like changes when it is switched, and when a lead comes off.
SIDE_PERIOD_S = 1.0
# The supply has switched its output off by itself by then; what must not happen is that the run goes on for long.
PROTECTION_PERIOD_S = 2.0
# A tenth of what the watchdog waits.
FEEDING_PERIOD_S = 1.0
# A reading older than this, beyond its period, is none: its instrument does not answer. One answer may be lost, which
# takes a session two seconds to find out, before it asks again.
STALE_S = 3.0


@dataclass(frozen=True)
class Sensor:
    """Signals that one question reads, how often, and how; what is not a quantity has no place in the trend.

    One without signals only looks whether all is well, and raises where it is not.
    """

    signals: tuple[str, ...]
    period_s: float
    read: Callable[[], Sequence[float]]
    has_trend: bool = True


class Sampler:
    """Reads the sensors of one instrument when they are due, and knows how old their readings are.

    Attributes:
        period_s: how often it looks what is due.
    """

    def __init__(self, sensors: Sequence[Sensor]) -> None:
        self.period_s = min(sensor.period_s for sensor in sensors)
        self._sensors = tuple(sensors)
        self._due_s = {sensor.signals: 0.0 for sensor in sensors}
        self._read_s: dict[tuple[str, ...], float] = {}

    def begin(self, now_s: float) -> None:
        """From now on readings are expected."""
        self._read_s = dict.fromkeys(self._due_s, now_s)

    def due(self, now_s: float) -> Iterator[Sensor]:
        """The sensors to be read now."""
        for sensor in self._sensors:
            # Sums of sampling periods fall a rounding error short of the time they are compared with.
            if now_s >= self._due_s[sensor.signals] - 1e-9:
                self._due_s[sensor.signals] = now_s + sensor.period_s
                yield sensor

    def sensor_of(self, signal: str) -> Sensor | None:
        """The sensor that reads this signal, if one of this instrument does."""
        return next((sensor for sensor in self._sensors if signal in sensor.signals), None)

    def has_read(self, sensor: Sensor, now_s: float) -> bool:
        """Note a reading; whether it came soon enough after the one before."""
        is_timely = not self._is_stale(sensor, now_s)
        self._read_s[sensor.signals] = now_s
        return is_timely

    def periods_s(self) -> Iterator[tuple[str, float]]:
        """How often each signal is read."""
        return ((signal, sensor.period_s) for sensor in self._sensors for signal in sensor.signals)

    def stale_at_s(self) -> float:
        """When the first of its readings will be stale, if no other comes."""
        read = (self._read_s[sensor.signals] + sensor.period_s for sensor in self._sensors if sensor.signals)
        return min(read, default=math.inf) + STALE_S

    def stale(self, now_s: float) -> list[str]:
        """The signals whose readings have ceased to come."""
        return [signal for sensor in self._sensors if self._is_stale(sensor, now_s) for signal in sensor.signals]

    def _is_stale(self, sensor: Sensor, now_s: float) -> bool:
        return now_s - self._read_s[sensor.signals] > sensor.period_s + STALE_S


def samplers_of(bench: Bench, watched: Set[str] = frozenset()) -> list[Sampler]:
    """One for each instrument that can be watched on this bench, the supply last; before them, one for the settings.

    Further outputs of the supply are read only if their signals are `watched`: a link takes one question at a time.
    """
    settings = Sampler([Sensor((), READ_BACK_PERIOD_S, ReadBack(bench))])
    readings = [Sampler(sensors) for sensors in (_temperatures(bench), _of_supply(bench, watched)) if sensors]
    return [settings, *readings]


def _of_supply(bench: Bench, watched: Set[str]) -> list[Sensor]:
    if not bench.has("supply"):
        return []
    supply, output = bench.supply, bench.main_output
    return [
        Sensor(SUPPLY_SIGNALS, SAMPLING_PERIOD_S, partial(supply.measure, output)),
        Sensor((SUPPLY_PROTECTION,), PROTECTION_PERIOD_S, partial(_tripped, supply, output), has_trend=False),
        *_watchdog(supply),
        *(sensor for sensor in _of_further_outputs(supply, output) if not watched.isdisjoint(sensor.signals)),
    ]


def _watchdog(supply: Supply) -> Iterator[Sensor]:
    if supply.has_watchdog:
        yield Sensor((SUPPLY_WATCHDOG,), FEEDING_PERIOD_S, partial(_fed, supply), has_trend=False)


def _fed(supply: Supply) -> tuple[float]:
    return (supply.feed_watchdog(),)


def _tripped(supply: Supply, output: str) -> tuple[float]:
    return (supply.tripped_protections(output),)


def _of_further_outputs(supply: Supply, main: str) -> Iterator[Sensor]:
    for name in supply.outputs:
        if name != main:
            signals = (output_signal("voltage", name), output_signal("current", name))
            yield Sensor(signals, SIDE_PERIOD_S, partial(supply.measure, name))


def _temperatures(bench: Bench) -> list[Sensor]:
    if not bench.has("thermometer"):
        return []
    thermometer = bench.thermometer
    if thermometer.asks_for_all:
        return [Sensor(tuple(thermometer.channels), TEMPERATURE_PERIOD_S, partial(_every_temperature, thermometer))]
    return [
        Sensor((name,), TEMPERATURE_PERIOD_S, partial(_temperature, thermometer, name)) for name in thermometer.channels
    ]


def _every_temperature(thermometer: Thermometer) -> list[float]:
    return list(thermometer.measure_all().values())


def _temperature(thermometer: Thermometer, channel: str) -> tuple[float]:
    return (thermometer.measure(channel),)
