"""Temperature sensors in their places: each follows what it sits on, and may have come off or got stuck."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from benchctl.simulator.hardware.bench_faults import BenchFaults
from benchctl.simulator.hardware.thermal import Sensor


class Sensors:
    """The thermometer's sensors, by the place that each should be in."""

    def __init__(self, places: Iterable[str], lag_s: float, ambient_c: float, faults: BenchFaults) -> None:
        self._ambient_c, self._faults = ambient_c, faults
        self._sensors = {place: Sensor(lag_s, ambient_c) for place in places}
        self._stuck_c: dict[str, float] = {}

    def follow(self, seconds: float, places_c: Mapping[str, float]) -> None:
        """Let some time pass; `places_c`: what is not as warm as the air."""
        for place, sensor in self._sensors.items():
            sensor.follow(seconds, places_c.get(place, self._ambient_c))

    def shown_c(self, place: str) -> float | None:
        """What the sensor of a place has; None where there is none or where it came off."""
        sensor = self._sensors.get(self._faults.truly("thermometer", place))
        if sensor is None or place in self._faults.open_sensors:
            return None
        if place in self._faults.fallen_sensors:
            return self._ambient_c
        return self._stuck_c.get(place, sensor.temperature_c) * self._faults.factor("thermometer", place)

    def stick(self, places: Iterable[str]) -> None:
        """These go on showing what they show now, or showed when they got stuck; the others do not."""
        self._stuck_c = {
            place: self._stuck_c.get(place, self._sensors[place].temperature_c)
            for place in places
            if place in self._sensors
        }
