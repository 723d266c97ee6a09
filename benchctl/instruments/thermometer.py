"""The thermometer: several channels, named in the bench file."""

from __future__ import annotations

from collections.abc import Mapping

from benchctl.documents.driver_file.thermometer import ThermometerDriver
from benchctl.instruments.role import Role
from benchctl.instruments.session import Session


class Thermometer(Role):
    """`channels` gives the instrument's number for each name."""

    def __init__(self, session: Session, driver: ThermometerDriver, channels: Mapping[str, int]) -> None:
        super().__init__(session, driver)
        self._words = driver.commands
        self.channels = dict(channels)

    def _set_mode(self) -> None:
        self._say(self._words.prepare)

    def measure(self, channel: str) -> float:
        """The temperature of a channel, degC. An open sensor is an error, never a number."""
        return self._ask_number(self._words.measure_temperature, channel=self.channels[channel])
