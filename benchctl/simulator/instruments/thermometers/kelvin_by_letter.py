"""A temperature monitor whose inputs are letters and whose answers are kelvin: `KRDG? A` answers `+296.65`."""

from __future__ import annotations

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Mnemonic
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.thermometers.sensors import ZERO_C_IN_K, Sensors
from benchctl.simulator.model.description import ThermometerDescription

LETTERS = "ABCDEFGH"
OPEN = "OL"


class LetterThermometer(Instrument[None]):
    """Input A is channel 1 of the bench file, B is 2. It has nothing to set."""

    model = "Temperature monitor"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: ThermometerDescription) -> None:
        self._sensors = Sensors(physical_bench, description)
        super().__init__(physical_bench, now)

    def defaults(self) -> None:
        """Nothing."""

    def snapshot(self) -> None:
        """Nothing."""

    def restore(self, settings: None) -> None:
        """Nothing."""

    def add_commands(self, tree: CommandTree) -> None:
        """KRDG?."""
        tree.add("KRDG", query=self._read, query_parameters=[Mnemonic(*LETTERS)])

    def _read(self, call: Call) -> str:
        (letter,) = call.values
        shown_c = self._sensors.shown_c(LETTERS.index(letter) + 1)
        return OPEN if shown_c is None else f"{shown_c + ZERO_C_IN_K:+.2f}"
