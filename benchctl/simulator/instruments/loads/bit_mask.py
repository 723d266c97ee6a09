"""A digital output box that drives the coils: `DOUT 0x0c` closes relays 2 and 3 and opens all others."""

from __future__ import annotations

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.loads.coils import Coils
from benchctl.simulator.instruments.text_device import Refused, TextWords
from benchctl.simulator.instruments.text_instrument import TextInstrument
from benchctl.simulator.model.description import BenchDescription

LINES = 8


class BitMaskBox(TextInstrument):
    """Eight lines, 0 to 7, a bit each; `DOUT?` answers the mask."""

    model = "Digital outputs"
    refusal = "ERR"

    def __init__(self, physical_bench: PhysicalBench, now: Now, _: BenchDescription) -> None:
        self._coils = Coils(physical_bench)
        super().__init__(physical_bench, now)

    def add_words(self, words: TextWords) -> None:
        """DOUT, DOUT? and who it is."""
        words.add(r"DOUT (0[xX][0-9a-fA-F]+|\d+)", self._set)
        words.add(r"DOUT\?", self._mask)
        words.add(r"\*IDN\?", lambda: str(self.device.identity))

    def reset(self) -> None:
        """Every relay open."""
        self._coils.open_all()

    def _set(self, text: str) -> None:
        mask = int(text, 16 if text[:2] in {"0x", "0X"} else 10)
        if mask >= 1 << LINES:
            raise Refused(text)
        self._coils.set_to(line for line in range(LINES) if mask >> line & 1)

    def _mask(self) -> str:
        return f"0x{sum(1 << line for line in self._coils.closed):02X}"
