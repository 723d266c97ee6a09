"""What the guard reads by itself, one instrument at a time.

Each instrument is read by a thread of its own: one that does not answer must not stop the others from being watched. If
readings stop coming, another thread of the guard notices it while the reading thread still waits.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence, Set
from dataclasses import dataclass, replace
from functools import partial

from benchctl.documents.model.limits import SUPPLY_SIGNALS, output_signal
from benchctl.guard.limits import SUPPLY_PROTECTION, SUPPLY_WATCHDOG, WATCHDOG_S
from benchctl.guard.read_back import READ_BACK_PERIOD_S, ReadBack
from benchctl.instruments.bench import Bench
from benchctl.instruments.role import Role
from benchctl.instruments.supply import Supply
from benchctl.instruments.thermometer import Thermometer

SAMPLING_PERIOD_S = 0.2
# A heatsink of a kilogram moves by hundredths of a kelvin in a second.
TEMPERATURE_PERIOD_S = 1.0
# The output for the turn-on lead, for example, changes when it is switched and when a lead comes off.
SIDE_PERIOD_S = 1.0
# The supply has already switched its output off by then; the run must only not go on for long.
PROTECTION_PERIOD_S = 2.0
# A tenth of what the watchdog waits.
FEEDING_PERIOD_S = 1.0
# A reading that comes later than this after its period does not count: the instrument is not answering. One answer may
# be lost; a session needs two seconds to notice that before it asks again.
STALE_S = 3.0
# The runner may ask this many questions between two readings of a slow instrument.
QUESTIONS_BETWEEN = 10.0
# The guard leaves most of a slow instrument's time to the runner: the signal that is read most often takes a third of
# it at most, every other signal an eighth. A watchdog must be fed all the same.
MOST_READ_PART = 3.0
OTHER_PART = 8.0
LONGEST_FEEDING_S = WATCHDOG_S / 3.0


@dataclass(frozen=True)
class Sensor:
    """Signals that one question reads, how often, and how. `has_trend` is False for what is not a quantity.

    A sensor without signals only checks that all is well, and raises if not. A reading that comes more than `stale_s`
    later than its period does not count.
    """

    signals: tuple[str, ...]
    period_s: float
    read: Callable[[], Sequence[float]]
    has_trend: bool = True
    stale_s: float = STALE_S


class Sampler:
    """Reads the sensors of one instrument when they are due, and knows how old their readings are.

    Attributes:
        period_s: how often it checks what is due.
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
        """Note that a reading came. Returns whether it came soon enough after the one before."""
        is_timely = not self._is_stale(sensor, now_s)
        self._read_s[sensor.signals] = now_s
        return is_timely

    def periods_s(self) -> Iterator[tuple[str, float]]:
        """How often each signal is read."""
        return ((signal, sensor.period_s) for sensor in self._sensors for signal in sensor.signals)

    def stale_at_s(self) -> float:
        """When the first of its readings becomes stale if no other comes."""
        stale = (
            self._read_s[sensor.signals] + sensor.period_s + sensor.stale_s
            for sensor in self._sensors
            if sensor.signals
        )
        return min(stale, default=math.inf)

    def stale(self, now_s: float) -> list[str]:
        """The signals whose readings have stopped coming."""
        return [signal for sensor in self._sensors if self._is_stale(sensor, now_s) for signal in sensor.signals]

    def _is_stale(self, sensor: Sensor, now_s: float) -> bool:
        return now_s - self._read_s[sensor.signals] > sensor.period_s + sensor.stale_s


def samplers_of(bench: Bench, watched: Set[str] = frozenset()) -> list[Sampler]:
    """One sampler for each instrument that can be watched on this bench, the supply last; the first one is for the
    settings.

    Further outputs of the supply are read only if their signals are `watched`, because a link takes one question at a
    time. How often each is read follows from how long a question to its instrument takes.
    """
    slowest_s = max((role.question_s for role in bench.roles.values()), default=0.0)
    settings = Sampler([Sensor((), max(READ_BACK_PERIOD_S, OTHER_PART * slowest_s), ReadBack(bench))])
    readings = [Sampler(sensors) for sensors in (_temperatures(bench), _of_supply(bench, watched)) if sensors]
    return [settings, *readings]


def _of_supply(bench: Bench, watched: Set[str]) -> list[Sensor]:
    if not bench.has("supply"):
        return []
    supply, output = bench.supply, bench.main_output
    measuring_s = supply.measuring_questions * supply.question_s
    sensors = [
        Sensor(SUPPLY_SIGNALS, max(SAMPLING_PERIOD_S, MOST_READ_PART * measuring_s), partial(supply.measure, output)),
        _tripped_sensor(supply, output),
        *_watchdog(supply),
        *(sensor for sensor in _of_further_outputs(supply, output) if not watched.isdisjoint(sensor.signals)),
    ]
    return [replace(sensor, stale_s=_stale_s(supply)) for sensor in sensors]


def _stale_s(role: Role) -> float:
    return STALE_S + QUESTIONS_BETWEEN * role.question_s


def _tripped_sensor(supply: Supply, output: str) -> Sensor:
    period_s = max(PROTECTION_PERIOD_S, OTHER_PART * supply.tripped_questions * supply.question_s)
    return Sensor((SUPPLY_PROTECTION,), period_s, partial(_tripped, supply, output), has_trend=False)


def _watchdog(supply: Supply) -> Iterator[Sensor]:
    if supply.has_watchdog:
        period_s = min(max(FEEDING_PERIOD_S, OTHER_PART * supply.question_s), LONGEST_FEEDING_S)
        yield Sensor((SUPPLY_WATCHDOG,), period_s, partial(_fed, supply), has_trend=False)


def _fed(supply: Supply) -> tuple[float]:
    return (supply.feed_watchdog(),)


def _tripped(supply: Supply, output: str) -> tuple[float]:
    return (supply.tripped_protections(output),)


def _of_further_outputs(supply: Supply, main: str) -> Iterator[Sensor]:
    period_s = max(SIDE_PERIOD_S, OTHER_PART * supply.measuring_questions * supply.question_s)
    for name in supply.outputs:
        if name != main:
            signals = (output_signal("voltage", name), output_signal("current", name))
            yield Sensor(signals, period_s, partial(supply.measure, name))


def _temperatures(bench: Bench) -> list[Sensor]:
    if not bench.has("thermometer"):
        return []
    thermometer = bench.thermometer
    questions = 1 if thermometer.asks_for_all else len(thermometer.channels)
    all_s = MOST_READ_PART * questions * thermometer.question_s
    period_s = max(TEMPERATURE_PERIOD_S, all_s, thermometer.driver.pace.new_reading_every_s)
    if thermometer.asks_for_all:
        every = partial(_every_temperature, thermometer)
        return [Sensor(tuple(thermometer.channels), period_s, every, stale_s=_stale_s(thermometer))]
    return [
        Sensor((name,), period_s, partial(_temperature, thermometer, name), stale_s=_stale_s(thermometer))
        for name in thermometer.channels
    ]


def _every_temperature(thermometer: Thermometer) -> list[float]:
    return list(thermometer.measure_all().values())


def _temperature(thermometer: Thermometer, channel: str) -> tuple[float]:
    return (thermometer.measure(channel),)
