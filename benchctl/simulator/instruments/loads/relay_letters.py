"""A relay box whose relays are letters: `CA` closes the first, `OA` opens it, `S?` answers every state."""

from __future__ import annotations

from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.loads.coils import Coils
from benchctl.simulator.instruments.text_device import TextWords
from benchctl.simulator.instruments.text_instrument import TextInstrument
from benchctl.simulator.model.description import BenchDescription

LETTERS = "ABCDEFGH"


class RelayLetterBox(TextInstrument):
    """Eight relays, A to H, which a bench file calls 1 to 8. It does not know who it is."""

    model = "Relay box"
    refusal = "?"

    def __init__(self, physical_bench: PhysicalBench, now: Now, _: BenchDescription) -> None:
        self._coils = Coils(physical_bench)
        super().__init__(physical_bench, now)

    def add_words(self, words: TextWords) -> None:
        """Close, open, states."""
        words.add(r"C([A-H])", lambda letter: self._coils.close([_number(letter)]))
        words.add(r"O([A-H])", lambda letter: self._coils.open([_number(letter)]))
        words.add(r"S\?", self._states)

    def reset(self) -> None:
        """Every relay open."""
        self._coils.open_all()

    def _states(self) -> str:
        closed = self._coils.closed
        return " ".join("1" if _number(letter) in closed else "0" for letter in LETTERS)


def _number(letter: str) -> int:
    return LETTERS.index(letter) + 1
