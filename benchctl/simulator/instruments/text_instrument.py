"""What instruments that do not speak SCPI have in common: a place on the bench, a clock, and words of their own."""

from __future__ import annotations

from abc import ABC, abstractmethod

from benchctl.scpi.device.device import Identity
from benchctl.simulated_identity import SIMULATED_MAKER
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import FIRMWARE, Now
from benchctl.simulator.instruments.text_device import TextDevice, TextWords


class TextInstrument(ABC):
    """One simulated instrument; `device` is its side of the links.

    Before each message the simulated bench is brought up to the clock, as with those that speak SCPI.

    Attributes:
        model: what it is, in its identity.
        refusal: what it answers to an unknown word or a value that it does not take; None: nothing.
    """

    model: str
    refusal: str | None = None

    def __init__(self, physical_bench: PhysicalBench, now: Now) -> None:
        self.physical_bench = physical_bench
        self.connections = physical_bench.connections
        self._now = now
        words = TextWords()
        self.add_words(words)
        seed = physical_bench.description.bench.seed
        self.device = TextDevice(
            Identity(SIMULATED_MAKER, self.model, f"SIM{seed}", FIRMWARE),
            words,
            refresh=self.refresh,
            reset=self.reset,
            refusal=self.refusal,
        )
        self.reset()

    @abstractmethod
    def add_words(self, words: TextWords) -> None:
        """Add all that the instrument knows."""

    @abstractmethod
    def reset(self) -> None:
        """Set everything as it is when the instrument is switched on: outputs off."""

    def refresh(self) -> None:
        """Bring the simulated bench up to the clock."""
        self.physical_bench.advance(self._now())
