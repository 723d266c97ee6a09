"""One way for a generator to speak, and the instrument that speaks it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from benchctl.documents.bench_file.simulated_instruments import LeftBehind
from benchctl.scpi.device.headers import CommandTree
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.generators.desk import Desk
from benchctl.simulator.instruments.generators.panel import Panel
from benchctl.simulator.instruments.generators.playing import Player
from benchctl.simulator.instruments.generators.words.adding import Adder
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.model.description import GeneratorDescription

# What the last user may have left.
LEFT_BEHIND: Mapping[LeftBehind, Mapping[str, Any]] = {
    "offset": {"open_offset_v": 0.25},
    "modulation": {"modulation_on": True, "depth": 0.8},
    "sweep": {"sweep_on": True},
    "burst": {"burst_on": True, "cycles": 3, "every_s": 0.1},
    "load": {"load_ohm": 50.0},
    "phase": {"start_phase_deg": 90.0},
}


@dataclass(frozen=True)
class Form:
    """One way to speak: its words, how the instrument is after a reset, and what a last user may have left on it."""

    model: str
    words: Callable[[Adder], None]
    reset: Panel
    outputs: int = 1
    can_be_left: frozenset[LeftBehind] = frozenset(LEFT_BEHIND)


class FormGenerator(Instrument[tuple[Panel, ...]]):
    """A generator that speaks one of the forms; a reset clears what the last user left behind."""

    def __init__(self, form: Form, physical_bench: PhysicalBench, now: Now, description: GeneratorDescription) -> None:
        self.model = form.model
        self._form = form
        self._desk = _desk(physical_bench, description, form)
        super().__init__(physical_bench, now)
        for name in form.can_be_left.intersection(description.simulated.left_by_last_user):
            self.restore(tuple(replace(panel, **LEFT_BEHIND[name]) for panel in self.snapshot()))

    def add_commands(self, tree: CommandTree) -> None:
        """Those of the form."""
        self._form.words(Adder(tree, self._desk, self._form.outputs))

    def defaults(self) -> tuple[Panel, ...]:
        """As the form resets."""
        return (self._form.reset,) * self._form.outputs

    def snapshot(self) -> tuple[Panel, ...]:
        """A panel an output."""
        return self._desk.panels

    def restore(self, settings: tuple[Panel, ...]) -> None:
        """Outputs off."""
        self._desk.use(settings)

    def trigger_action(self) -> Callable[[], None]:
        """*TRG begins a burst."""
        return self._desk.trigger


def _desk(physical_bench: PhysicalBench, description: GeneratorDescription, form: Form) -> Desk:
    errors, connections = physical_bench.true_errors, physical_bench.connections
    level = errors.error("generator level", description.level, description.highest_level_v)
    frequency = errors.error("generator frequency", description.frequency)
    drives = (connections.drive, connections.second_drive)[: form.outputs]
    players = [Player(drive, level, frequency) for drive in drives]
    return Desk(
        players,
        description,
        now=lambda: physical_bench.time_s,
        factor=lambda: connections.faults.factor("generator", "level"),
        step_vpp=description.simulated.level_step_v,
    )
