"""The thermometer: several channels, named in the bench file."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

from benchctl.documents.driver_file.thermometer import ThermometerDriver
from benchctl.instruments.role import Role
from benchctl.instruments.session import Session
from benchctl.scpi.answer_form import AnswerForm


class Thermometer(Role):
    """`channels` gives the instrument's number for each name."""

    def __init__(self, session: Session, driver: ThermometerDriver, channels: Mapping[str, int]) -> None:
        super().__init__(session, driver)
        self._words = driver.commands
        self.channels = dict(channels)

    def _set_mode(self) -> None:
        """Tell it which channels to scan, where it is to know."""
        self._say(self._words.prepare, channels=tuple(self.channels.values()))

    @property
    def asks_for_all(self) -> bool:
        """Whether one answer holds every channel, so that one question reads all of them."""
        return self._words.asks_for_all

    def measure(self, channel: str) -> float:
        """The temperature of a channel, degC. An open sensor is an error, never a number."""
        words, number = self._words.measure_temperature, self.channels[channel]
        with self._prepared(words.messages(channel=number)) as question:
            (temperature_c,) = self.session.ask_readings(question, [self.form_for(channel).number], words.timeout_s)
        return temperature_c

    def measure_all(self) -> dict[str, float]:
        """The temperature of every channel from one answer, degC; nan for one whose sensor is open."""
        return self._ask_for(self._words.measure_temperature, self._read_all)

    def _read_all(self, answer: str) -> dict[str, float]:
        return {name: _finite_or_nan(self.form_for(name).number(answer)) for name in self.channels}

    def form_for(self, channel: str) -> AnswerForm:
        """Where a channel stands in the answer."""
        words, form = self._words.measure_temperature, self._words.measure_temperature.form
        if words.field_of:
            return words.form_for(channel=self.channels[channel])
        has_place = form.field is not None or bool(form.after) or form.columns is not None
        if not self.asks_for_all or has_place or len(self.channels) == 1:
            return form
        names = list(self.channels)
        return replace(form, field=names.index(channel) + 1, fields=len(names))


def _finite_or_nan(value: float) -> float:
    return value if math.isfinite(value) else math.nan
