"""The oscilloscope's SCPI side. It answers two command sets at once, the two commonest forms of preamble and block."""

from __future__ import annotations

from benchctl.scpi.headers import CommandTree
from benchctl.scpi.status import Operation
from benchctl.simulator.description import OscilloscopeDescription
from benchctl.simulator.instrument import Instrument, Now
from benchctl.simulator.scope import Scope
from benchctl.simulator.scope_fields import FieldWords
from benchctl.simulator.scope_list import ListWords
from benchctl.simulator.world import World


class SimulatedOscilloscope(Instrument):
    """Two command sets over one scope."""

    model = "Oscilloscope"

    def __init__(self, world: World, now: Now, description: OscilloscopeDescription) -> None:
        self.scope = Scope(world, description)
        self._words = (ListWords(self.scope), FieldWords(self.scope))
        super().__init__(world, now)

    def reset(self) -> None:
        """Scope and both command sets."""
        self.scope.reset()
        for words in self._words:
            words.reset()

    def add_commands(self, tree: CommandTree) -> None:
        """Both command sets."""
        for words in self._words:
            words.add_commands(tree)

    def is_pending(self) -> bool:
        """An acquisition is an overlapped operation; a repeating one never completes."""
        return self.scope.acquisition.armed and not self.scope.acquisition.repeats

    def refresh(self) -> None:
        """Bring the world up to the clock, and the operation conditions with it."""
        super().refresh()
        operation = self.device.status.operation
        operation.mark(Operation.MEASURING, self.scope.acquisition.armed)
        operation.mark(Operation.WAITING_FOR_TRIGGER, self.scope.acquisition.waiting)
