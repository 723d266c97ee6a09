"""A simulated oscilloscope: one way of recording, and the command sets of its form."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from benchctl.scpi.device.headers import CommandTree
from benchctl.scpi.device.status import Operation
from benchctl.scpi.errors import ScpiError
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.oscilloscopes.form import PREAMBLES, Form
from benchctl.simulator.instruments.oscilloscopes.recording.scope import Scope, ScopeSettings
from benchctl.simulator.model.description import OscilloscopeDescription

# The bit that some models set while a record is under way (of SCPI-99's bits, that of a sweep).
RUNNING = Operation.SWEEPING


@dataclass(frozen=True)
class OscilloscopeSettings:
    """Settings of the scope and of each command set."""

    scope: ScopeSettings
    words: tuple[Any, ...]


class SimulatedOscilloscope(Instrument[OscilloscopeSettings]):
    """One or more command sets over one scope."""

    model = "Oscilloscope"

    def __init__(
        self,
        physical_bench: PhysicalBench,
        now: Now,
        description: OscilloscopeDescription,
        form: Form = PREAMBLES,
    ) -> None:
        self.form = form
        self.scope = Scope(physical_bench, description, form.traits)
        self._words = tuple(form.words(self.scope))
        super().__init__(physical_bench, now)

    def defaults(self) -> OscilloscopeSettings:
        """Of scope and command sets."""
        return OscilloscopeSettings(self.scope.defaults(), tuple(words.defaults for words in self._words))

    def snapshot(self) -> OscilloscopeSettings:
        """Of scope and command sets."""
        return OscilloscopeSettings(self.scope.snapshot(), tuple(words.settings for words in self._words))

    def restore(self, settings: OscilloscopeSettings) -> None:
        """Stopped, and without a record."""
        self.scope.restore(settings.scope)
        for words, kept in zip(self._words, settings.words, strict=True):
            words.settings = kept

    def add_commands(self, tree: CommandTree) -> None:
        """Those of every command set."""
        for words in self._words:
            words.add_commands(tree)

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
        operation.mark(RUNNING, self.form.shows_run and self.scope.acquisition.armed)
