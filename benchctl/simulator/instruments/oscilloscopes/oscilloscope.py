"""The oscilloscope's SCPI side. It answers two command sets at once, the two commonest forms of preamble and block."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from benchctl.scpi.device.headers import CommandTree
from benchctl.scpi.device.status import Operation
from benchctl.scpi.errors import ScpiError
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.oscilloscopes.recording.scope import Scope, ScopeSettings
from benchctl.simulator.instruments.oscilloscopes.words.preamble_fields import FieldSettings, FieldWords
from benchctl.simulator.instruments.oscilloscopes.words.preamble_list import ListSettings, ListWords
from benchctl.simulator.model.description import OscilloscopeDescription


@dataclass(frozen=True)
class OscilloscopeSettings:
    """Settings of the scope and of both command sets."""

    scope: ScopeSettings
    list: ListSettings = field(default_factory=ListSettings)
    fields: FieldSettings = field(default_factory=FieldSettings)


class SimulatedOscilloscope(Instrument[OscilloscopeSettings]):
    """Two command sets over one scope."""

    model = "Oscilloscope"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: OscilloscopeDescription) -> None:
        self.scope = Scope(physical_bench, description)
        self._list, self._fields = ListWords(self.scope), FieldWords(self.scope)
        super().__init__(physical_bench, now)

    def defaults(self) -> OscilloscopeSettings:
        """Of scope and both command sets."""
        return OscilloscopeSettings(self.scope.defaults())

    def snapshot(self) -> OscilloscopeSettings:
        """Of scope and both command sets."""
        return OscilloscopeSettings(self.scope.snapshot(), self._list.settings, self._fields.settings)

    def restore(self, settings: OscilloscopeSettings) -> None:
        """Stopped, and without a record."""
        self.scope.restore(settings.scope)
        self._list.settings, self._fields.settings = settings.list, settings.fields

    def add_commands(self, tree: CommandTree) -> None:
        """Both command sets."""
        self._list.add_commands(tree)
        self._fields.add_commands(tree)

    def is_pending(self) -> bool:
        """An acquisition is an overlapped operation; a repeating one never completes."""
        return self.scope.acquisition.armed and not self.scope.acquisition.repeats

    def trigger_action(self) -> Callable[[], None]:
        """End the wait for a trigger, whatever the record's source."""
        return self._trigger

    def _trigger(self) -> None:
        if not self.scope.acquisition.waiting:
            raise ScpiError(-211, "no record waits for a trigger")
        self.scope.acquisition.force()

    def refresh(self) -> None:
        """Bring the simulated bench up to the clock, and the operation conditions with it."""
        super().refresh()
        operation = self.device.status.operation
        operation.mark(Operation.MEASURING, self.scope.acquisition.armed)
        operation.mark(Operation.WAITING_FOR_TRIGGER, self.scope.acquisition.waiting)
