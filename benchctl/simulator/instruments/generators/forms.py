"""The forms of remote control that simulated generators speak, by name, and the instrument behind them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from benchctl.scpi.device.headers import CommandTree
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.generators.desk import Desk
from benchctl.simulator.instruments.generators.panel import Panel
from benchctl.simulator.instruments.generators.playing import Player
from benchctl.simulator.instruments.generators.words.adding import Adder
from benchctl.simulator.instruments.generators.words.bursts import add_bursts
from benchctl.simulator.instruments.generators.words.key_values import add_lists
from benchctl.simulator.instruments.generators.words.modulation import add_modulation, add_sweep
from benchctl.simulator.instruments.generators.words.sine import add_load, add_sine, add_unit
from benchctl.simulator.instruments.generators.words.tables import add_tables
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.model.description import GeneratorDescription

BY_ITSELF = ("IMMediate", "TIMer", "BUS", "EXTernal")
BY_TRIGGER = ("BUS", "EXTernal")

LEFT_BEHIND: Mapping[str, Mapping[str, Any]] = {
    "offset": {"open_offset_v": 0.25},
    "modulation": {"modulation_on": True, "depth": 0.8},
    "sweep": {"sweep_on": True},
    "burst": {"burst_on": True, "cycles": 3, "every_s": 0.1},
    "load": {"load_ohm": 50.0},
    "phase": {"start_phase_deg": 90.0},
    "unit": {"unit": "VPP"},
}
"""What the last user may have left, by name."""


@dataclass(frozen=True)
class Form:
    """One way to speak: its words, and how the instrument is after a reset."""

    model: str
    words: Callable[[Adder], None]
    reset: Panel
    outputs: int = 1


class FormGenerator(Instrument[tuple[Panel, ...]]):
    """A generator that speaks one of the forms.

    Args:
        left: what the last user left behind (`LEFT_BEHIND`); a reset clears it.
        step_vpp: steps of the level on the display.
    """

    def __init__(
        self,
        physical_bench: PhysicalBench,
        now: Now,
        description: GeneratorDescription,
        form: Form,
        *,
        left: Iterable[str] = (),
        step_vpp: float = 0.0,
    ) -> None:
        self.model = form.model
        self._form = form
        self._desk = _desk(physical_bench, description, form, step_vpp)
        super().__init__(physical_bench, now)
        for name in left:
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


def _desk(physical_bench: PhysicalBench, description: GeneratorDescription, form: Form, step_vpp: float) -> Desk:
    errors, connections = physical_bench.true_errors, physical_bench.connections
    level = errors.error("generator level", description.level, description.highest_level_v)
    frequency = errors.error("generator frequency", description.frequency)
    drives = (connections.drive, connections.second_drive)[: form.outputs]
    players = [Player(drive, level, frequency) for drive in drives]
    return Desk(
        players,
        description,
        now=lambda: physical_bench.time_s,
        factor=lambda: connections.factor("generator", "level"),
        step_vpp=step_vpp,
    )


def _usual(to: Adder) -> None:
    add_sine(to)
    add_load(to)
    add_modulation(to)
    add_sweep(to)


def _cycles_and_period(to: Adder) -> None:
    _usual(to)
    add_unit(to)
    add_bursts(to, BY_ITSELF)


def _bus_trigger(to: Adder) -> None:
    _usual(to)
    add_unit(to)
    add_bursts(to, BY_TRIGGER)


def _peak_to_peak(to: Adder) -> None:
    _usual(to)
    add_bursts(to, BY_ITSELF)


def _display_into_50_ohm(to: Adder) -> None:
    add_sine(to)
    add_unit(to)
    add_modulation(to)
    add_sweep(to)
    add_bursts(to, BY_ITSELF)


def _table_as_block(to: Adder) -> None:
    _table(to, "block")


def _table_as_text(to: Adder) -> None:
    _table(to, "text")


def _table(to: Adder, form: Any) -> None:
    add_sine(to, shapes=("SINusoid", "ARBitrary"))
    add_unit(to)
    add_load(to)
    add_sweep(to)
    add_tables(to, form)


def _keyed(to: Adder) -> None:
    _usual(to)
    add_unit(to)


_HIGH = Panel(trigger_source="IMM")
_INTO_50 = Panel(load_ohm=50.0, open_vpp=0.2)
"""A reset of many generators turns the display to a matched load."""

FORMS: Mapping[str, Form] = {
    "cycles_and_period": Form("Generator of bursts by cycles", _cycles_and_period, _INTO_50),
    "bus_trigger": Form("Generator of bursts by trigger", _bus_trigger, replace(_INTO_50, trigger_source="BUS")),
    "peak_to_peak": Form("Generator with a display in Vpp", _peak_to_peak, _HIGH),
    "display_into_50_ohm": Form("Generator for matched loads", _display_into_50_ohm, _INTO_50),
    "key_value_list": Form("Generator with lists of values", add_lists, replace(_HIGH, trigger_source="TIM"), 2),
    "table_as_block": Form("Generator of tables", _table_as_block, _INTO_50),
    "table_as_text": Form("Generator of tables in text", _table_as_text, _HIGH),
    "keyed_modulation": Form("Generator with keyed amplitude", _keyed, _HIGH),
}
