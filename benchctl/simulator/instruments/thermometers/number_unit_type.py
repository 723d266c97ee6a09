"""A logger that glues the unit to the number and the type of sensor behind it: `R1?` answers `+2.35E+01C,K`."""

from __future__ import annotations

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.text_device import TextWords
from benchctl.simulator.instruments.text_instrument import TextInstrument
from benchctl.simulator.instruments.thermometers.sensors import Sensors
from benchctl.simulator.model.description import ThermometerDescription

OPEN_C = 9.9e37


class LoggerThermometer(TextInstrument):
    """Sixteen inputs, 1 to 16, to three digits."""

    model = "Logger"
    refusal = "E"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: ThermometerDescription) -> None:
        self._sensors = Sensors(physical_bench, description)
        super().__init__(physical_bench, now)

    def add_words(self, words: TextWords) -> None:
        """A reading, and who it is."""
        words.add(r"R([1-9]|1[0-6])\?", self._read)
        words.add(r"\*IDN\?", lambda: str(self.device.identity))

    def reset(self) -> None:
        """It has nothing to set."""

    def _read(self, number: str) -> str:
        shown_c = self._sensors.shown_c(int(number))
        return f"{OPEN_C if shown_c is None else shown_c:+.2E}C,K"
