"""What the five SCPI instruments have in common: a place in the world, a clock to look at, a device to talk through."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Callable

from benchctl.scpi.device import Device, Hooks, Identity
from benchctl.scpi.headers import Call, CommandTree
from benchctl.simulator.world import World

Now = Callable[[], float]

FIRMWARE = "1.0"


class Instrument(ABC):
    """One simulated instrument; `device` is its SCPI side.

    Before each message the world is brought up to the clock, so an answer always belongs to the time of its question.
    """

    model: str

    def __init__(self, world: World, now: Now) -> None:
        self.world = world
        self.plant = world.plant
        self._now = now
        tree = CommandTree()
        self.add_commands(tree)
        identity = Identity("benchctl", self.model, f"SIM{world.description.bench.seed}", FIRMWARE)
        hooks = Hooks(reset=self.reset, refresh=self.refresh, pending=self.is_pending)
        self.device = Device(identity, tree, hooks)
        self.reset()

    @abstractmethod
    def add_commands(self, tree: CommandTree) -> None:
        """Put the instrument's own commands into the tree."""

    @abstractmethod
    def reset(self) -> None:
        """Settings as after *RST."""

    def is_pending(self) -> bool:
        """Whether an overlapped operation goes on."""
        return False

    def refresh(self) -> None:
        """Bring the world up to the clock."""
        self.world.advance(self._now())


def action(do: Callable[[], None]) -> Callable[[Call], None]:
    """A handler for a command without parameters."""
    return lambda _: do()
