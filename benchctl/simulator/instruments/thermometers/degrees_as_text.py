"""A thermometer that answers as its display shows: `T1?` answers `23.5 C`, and `----` where no sensor is."""

from __future__ import annotations

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.text_device import TextWords
from benchctl.simulator.instruments.text_instrument import TextInstrument
from benchctl.simulator.instruments.thermometers.sensors import Sensors
from benchctl.simulator.model.description import ThermometerDescription


class DisplayThermometer(TextInstrument):
    """Four inputs, 1 to 4, to a tenth of a degree. It ignores what it does not know."""

    model = "Thermometer"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: ThermometerDescription) -> None:
        self._sensors = Sensors(physical_bench, description)
        super().__init__(physical_bench, now)

    def add_words(self, words: TextWords) -> None:
        """One question."""
        words.add(r"T([1-4])\?", self._read)

    def reset(self) -> None:
        """It has nothing to set."""

    def _read(self, number: str) -> str:
        shown_c = self._sensors.shown_c(int(number))
        return "----" if shown_c is None else f"{shown_c:.1f} C"
