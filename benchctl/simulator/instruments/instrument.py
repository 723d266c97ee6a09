"""What all instruments that speak SCPI have in common: a place on the bench, a clock, and a device that talks SCPI."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable
from typing import Generic, TypeVar

from benchctl.scpi.device.device import Device, Hooks, Identity
from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.errors import ScpiError
from benchctl.simulated_identity import SIMULATED_MAKER
from benchctl.simulator.hardware.physical_bench import PhysicalBench

Now = Callable[[], float]
Settings = TypeVar("Settings")

FIRMWARE = "1.0"


class Instrument(ABC, Generic[Settings]):
    """One simulated instrument; `device` is its SCPI side.

    Before each message the simulated bench is brought up to the clock, so an answer always belongs to the time of its
    question.

    All that *RST sets is one immutable value of the type `Settings`, and *SAV and *RCL keep and bring back the same
    (IEEE 488.2 10.33, 10.27). A recall switches nothing on: outputs and inputs are off after it and nothing is under
    way, even if they were on when the settings were saved. Only a bank of relays closes the relays that were closed
    then. To recall an empty memory is an error (-200), because nobody chose such settings. *RST does not change the
    memories, and they survive a loss of power.
    """

    model: str

    def __init__(self, physical_bench: PhysicalBench, now: Now) -> None:
        self.physical_bench = physical_bench
        self.connections = physical_bench.connections
        self._now = now
        self._memories: dict[int, Settings] = {}
        tree = CommandTree()
        self.add_commands(tree)
        identity = Identity(SIMULATED_MAKER, self.model, f"SIM{physical_bench.description.bench.seed}", FIRMWARE)
        hooks = Hooks(
            reset=self.reset,
            refresh=self.refresh,
            pending=self.is_pending,
            save=self._save,
            recall=self._recall,
            trigger=self.trigger_action(),
        )
        self.device = self.device_class()(identity, tree, hooks)
        self.reset()

    def device_class(self) -> type[Device]:
        """What talks for it."""
        return Device

    @abstractmethod
    def add_commands(self, tree: CommandTree) -> None:
        """Put the instrument's own commands into the tree."""

    @abstractmethod
    def defaults(self) -> Settings:
        """Settings as after *RST."""

    @abstractmethod
    def snapshot(self) -> Settings:
        """The present settings."""

    @abstractmethod
    def restore(self, settings: Settings) -> None:
        """Use these settings instead of the present ones: outputs off, nothing under way."""

    def reset(self) -> None:
        """What *RST does."""
        self.restore(self.defaults())

    def trigger_action(self) -> Callable[[], None] | None:
        """What *TRG and the link's group execute trigger do; None for an instrument with nothing to trigger."""
        return None

    def is_pending(self) -> bool:
        """Whether an overlapped operation goes on."""
        return False

    def refresh(self) -> None:
        """Bring the simulated bench up to the clock."""
        self.physical_bench.advance(self._now())

    def _save(self, number: int) -> None:
        self._memories[number] = self.snapshot()

    def _recall(self, number: int) -> None:
        if number not in self._memories:
            raise ScpiError(-200, f"memory {number} is empty")
        self.restore(self._memories[number])


def action(do: Callable[[], None]) -> Callable[[Call], None]:
    """A handler for a command without parameters."""
    return lambda _: do()
