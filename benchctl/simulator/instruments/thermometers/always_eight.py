"""A scanner that always answers all its eight channels, in Fahrenheit, with spaces between: `T?`."""

from __future__ import annotations

import math

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.text_device import TextWords
from benchctl.simulator.instruments.text_instrument import TextInstrument
from benchctl.simulator.instruments.thermometers.sensors import Sensors
from benchctl.simulator.model.description import ThermometerDescription

CHANNELS = range(1, 9)
OPEN = "-9999"


class EightChannelThermometer(TextInstrument):
    """It scans by itself, every so often; what it answers is its last scan. It ignores what it does not know."""

    model = "Eight channels"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: ThermometerDescription) -> None:
        self._sensors = Sensors(physical_bench, description)
        self._every_s = description.simulated.new_reading_every_s
        self._next_s = 0.0
        super().__init__(physical_bench, now)
        physical_bench.watch(self)

    def add_words(self, words: TextWords) -> None:
        """One question."""
        words.add(r"T\?", lambda: self._last_scan if self._every_s else self._scan())

    def reset(self) -> None:
        """It scans at once."""
        self._last_scan = self._scan()

    def remembers_from(self) -> float:
        """It asks for nothing that is past."""
        return math.inf

    def look(self, from_s: float, to_s: float) -> None:  # noqa: ARG002 - what a watcher is told
        """Scan, if it is time to."""
        if self._every_s and to_s >= self._next_s:
            self._last_scan = self._scan()
            self._next_s = (to_s // self._every_s + 1.0) * self._every_s

    def _scan(self) -> str:
        return " ".join(map(self._shown, CHANNELS))

    def _shown(self, channel: int) -> str:
        shown_c = self._sensors.shown_c(channel)
        return OPEN if shown_c is None else f"{1.8 * shown_c + 32.0:.1f}"
