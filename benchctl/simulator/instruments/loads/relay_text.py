"""A relay board that hears plain text and says nothing: `relay on 3`, `relay off 3`."""

from __future__ import annotations

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.loads.coils import Coils
from benchctl.simulator.instruments.text_device import Refused, TextWords
from benchctl.simulator.instruments.text_instrument import TextInstrument
from benchctl.simulator.model.description import BenchDescription


class RelayTextBoard(TextInstrument):
    """One relay a message. It answers nothing, not even who it is, and ignores what it does not know."""

    model = "Relay board"

    def __init__(self, physical_bench: PhysicalBench, now: Now, _: BenchDescription) -> None:
        self._coils = Coils(physical_bench)
        super().__init__(physical_bench, now)

    def add_words(self, words: TextWords) -> None:
        """On and off."""
        words.add(r"relay on (\d+)", lambda relay: self._coils.close([self._known(int(relay))]))
        words.add(r"relay off (\d+)", lambda relay: self._coils.open([self._known(int(relay))]))

    def reset(self) -> None:
        """Every relay open."""
        self._coils.open_all()

    def _known(self, relay: int) -> int:
        if relay not in self._coils.numbers:
            raise Refused(str(relay))
        return relay
