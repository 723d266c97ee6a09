"""A bench multimeter from before SCPI: `VDC`, `VAC` or `OHMS` choose what it measures, `VAL?` answers the display."""

from __future__ import annotations

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.multimeters.leads import Leads, Quantity
from benchctl.simulator.instruments.text_device import TextWords
from benchctl.simulator.instruments.text_instrument import TextInstrument
from benchctl.simulator.model.description import MultimeterDescription

_WORDS: dict[str, Quantity] = {"VDC": "dc voltage", "VAC": "ac voltage", "OHMS": "resistance"}
_UNITS: dict[Quantity, str] = {"dc voltage": "VDC", "ac voltage": "VAC", "resistance": "OHM"}


class FunctionWordsMultimeter(TextInstrument):
    """Five digits and the unit behind them, `+1.2345E-02 VDC`; an overload is `OL`. It chooses its range itself."""

    model = "Bench multimeter"
    refusal = "?>"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: MultimeterDescription) -> None:
        self._leads = Leads(physical_bench, description)
        super().__init__(physical_bench, now)

    def add_words(self, words: TextWords) -> None:
        """What it measures, the display, and who it is."""
        words.add(f"({'|'.join(_WORDS)})", self._choose)
        words.add(r"VAL\?", self._read)
        words.add(r"\*IDN\?", lambda: str(self.device.identity))

    def reset(self) -> None:
        """Dc volts."""
        self._quantity: Quantity = "dc voltage"

    def _choose(self, word: str) -> None:
        self._quantity = _WORDS[word]

    def _read(self) -> str:
        shown = self._leads.shown(self._quantity)
        return "OL" if shown is None else f"{shown:+.4E} {_UNITS[self._quantity]}"
