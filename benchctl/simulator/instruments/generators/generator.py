"""The function generator: the SOURce, LIST, OUTPut and TRIGger words of SCPI-99 (volume 2, chapters 15, 19, 24).

It makes sines, square waves, and waves of its user's: TRACe sends one cycle as samples, FUNCtion:USER chooses it. The
level of such a wave is that of the sine with the same peak, for a user's wave with the peak of full scale.

A list of levels with dwell times plays from its trigger on, each repetition from an upward zero
crossing; the sync output is high during the list's first point, or the first half of each cycle of a constant tone.
While a list is selected but not started, the constant tone sounds.

The trigger system is idle until INITiate, then waits for its source, IMMediate or BUS, and is idle again once the list
has ended. A trigger that comes while it does not wait is ignored, with an error (-211).

A generator with two outputs selects them by a suffix (`SOURce2`, `OUTPut2`). Each has its level and its list;
frequency, dwell times and trigger are common, and the sync output is that of output 1.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric
from benchctl.scpi.device.status import Operation
from benchctl.scpi.errors import ScpiError
from benchctl.simulator.generator_signal import GeneratorSignal
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.generators.table import checked
from benchctl.simulator.instruments.generators.words.tables import Name, Words
from benchctl.simulator.instruments.instrument import Instrument, Now, action
from benchctl.simulator.model.description import GeneratorDescription
from benchctl.simulator.wave import Wave, square

LOWEST_FREQUENCY_HZ = 1e-3
LONGEST_LIST = 100
SHORTEST_DWELL_S = 1e-5
SHORTEST_PERIOD_S = 1e-3
"""Shortest whole list: a faster one would itself be a tone."""
LONGEST_DWELL_S = 3600.0
LEVEL_STEP_V = 1e-6
"""Resolution of the level."""

# What a number in each unit of VOLTage:UNIT is, for a sine, as RMS.
_RMS_PER_UNIT = {"VRMS": 1.0, "VPP": 1 / (2 * math.sqrt(2)), "V": 1.0, "VPK": 1 / math.sqrt(2)}


@dataclass(frozen=True)
class GeneratorSettings:
    """The settings as they were asked for, without the output state."""

    frequency_hz: float = 1000.0
    levels_v: tuple[float, float] = (0.1, 0.1)
    """of output 1 and 2; RMS, as the levels of the lists"""
    unit: str = "VRMS"
    mode: str = "FIX"
    lists_v: tuple[tuple[float, ...], tuple[float, ...]] = ((), ())
    dwells_s: tuple[float, ...] = ()
    count: float = 1.0
    trigger_source: str = "IMM"
    shape: str = "SIN"
    """SIN, SQU or USER"""
    user: str = ""
    """the trace that is chosen"""
    traces: Mapping[str, Wave] = field(default_factory=dict)

    @property
    def wave(self) -> Wave | None:
        """What sounds instead of a sine, if anything does."""
        return square() if self.shape == "SQU" else self.traces.get(self.user) if self.shape == "USER" else None

    def with_level(self, output: int, level_v: float) -> GeneratorSettings:
        """The same with another level of one output."""
        first, second = self.levels_v
        return replace(self, levels_v=(level_v, second) if output == 1 else (first, level_v))

    def with_list(self, output: int, list_v: tuple[float, ...]) -> GeneratorSettings:
        """The same with another list of one output."""
        first, second = self.lists_v
        return replace(self, lists_v=(list_v, second) if output == 1 else (first, list_v))

    @property
    def list_v(self) -> tuple[float, ...]:
        """The list of output 1, which sets the times of both."""
        return self.lists_v[0]

    def dwell_times_s(self) -> tuple[float, ...]:
        """One for each level: a single dwell time stands for all.

        Raises:
            ScpiError: the counts differ, or the list is too short.
        """
        dwells_s = self.dwells_s * len(self.list_v) if len(self.dwells_s) == 1 else self.dwells_s
        if not self.list_v or len(dwells_s) != len(self.list_v):
            raise ScpiError(-226, f"{len(self.list_v)} levels and {len(self.dwells_s)} dwell times")
        if sum(dwells_s) < SHORTEST_PERIOD_S:
            raise ScpiError(-221, f"a list lasts at least {SHORTEST_PERIOD_S:g} s")
        return dwells_s


def _output(call: Call) -> int:
    """Which output a command is for."""
    return call.suffixes[0] if call.suffixes else 1


class SimulatedGenerator(Instrument[GeneratorSettings]):
    """Holds what was asked for; the `drive` of the connections holds the true output."""

    model = "Function generator"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: GeneratorDescription) -> None:
        self._description = description
        self._level_error = physical_bench.true_errors.error(
            "generator level", description.level, description.highest_level_v
        )
        self._frequency_error = physical_bench.true_errors.error("generator frequency", description.frequency)
        self._waiting = False
        self._drives = (physical_bench.connections.drive, physical_bench.connections.second_drive)
        self._outputs = max(physical_bench.description.generator_outputs.values(), default=1)
        super().__init__(physical_bench, now)

    def defaults(self) -> GeneratorSettings:
        """1 kHz, 0.1 V, constant tone."""
        return GeneratorSettings()

    def snapshot(self) -> GeneratorSettings:
        """All settings except the output state."""
        return self._settings

    def restore(self, settings: GeneratorSettings) -> None:
        """Output off, no list playing or waiting for its trigger."""
        self._settings = settings
        for drive in self._drives:
            drive.switch(False)
        self._abort()
        self._apply_shape()
        self._apply_levels()
        self._apply_frequency()

    def refresh(self) -> None:
        """Bring the simulated bench up to the clock, and the operation conditions with it."""
        super().refresh()
        operation = self.device.status.operation
        operation.mark(Operation.SWEEPING, self.connections.drive.list_playing(self.physical_bench.time_s))
        operation.mark(Operation.WAITING_FOR_TRIGGER, self._waiting)

    def is_pending(self) -> bool:
        """A list that waits or ends by itself is an overlapped operation; an endless list would never complete."""
        drive = self.connections.drive
        return self._waiting or (drive.list_playing(self.physical_bench.time_s) and math.isfinite(drive.repetitions))

    def trigger_action(self) -> Callable[[], None]:
        """Start the list that waits for the bus."""
        return self._trigger_by_bus

    def add_commands(self, tree: CommandTree) -> None:
        """SOURce:FUNCtion, FREQuency, VOLTage, LIST; OUTPut; INITiate, ABORt, TRIGger."""
        self._add_source(tree)
        self._add_list(tree)
        tree.add(f"OUTPut{self._suffix}[:STATe]", set=self._set_output, query=lambda call: self._drive(call).output_on,
                 parameters=[Boolean()])  # fmt: skip
        tree.add("INITiate[:IMMediate]", set=action(self._initiate))
        tree.add("INITiate[:IMMediate]:ALL", set=action(self._initiate))
        tree.add("ABORt", set=action(self._abort))
        tree.add("TRIGger[:SEQuence]:SOURce", set=self._set_trigger_source,
                 query=lambda _: self._settings.trigger_source, parameters=[Mnemonic("IMMediate", "BUS")])  # fmt: skip
        tree.add("TRIGger[:SEQuence][:IMMediate]", set=action(self._trigger))

    def _add_source(self, tree: CommandTree) -> None:
        source = f"[SOURce{self._suffix}]"
        self._add_shapes(tree, source)
        frequency = Numeric("HZ", LOWEST_FREQUENCY_HZ, self._description.highest_frequency_hz, 1000.0)
        tree.add(f"{source}:FREQuency[:CW]", set=self._set_frequency, query=lambda _: self._settings.frequency_hz,
                 parameters=[frequency])  # fmt: skip
        tree.add(f"{source}:FREQuency:FIXed", set=self._set_frequency, query=lambda _: self._settings.frequency_hz,
                 parameters=[frequency])  # fmt: skip
        tree.add(f"{source}:VOLTage[:LEVel][:IMMediate][:AMPLitude]", set=self._set_level,
                 query=lambda call: self._shown(self._settings.levels_v[_output(call) - 1]),
                 parameters=[Numeric("V", 0.0, self._highest, self._lowest_default)])  # fmt: skip
        tree.add(f"{source}:VOLTage:UNIT", set=self._set_unit, query=lambda _: self._settings.unit,
                 parameters=[Mnemonic("VRMS", "VPP", "VPK", "V")])  # fmt: skip
        tree.add(f"{source}:VOLTage:MODE", set=self._set_mode, query=lambda _: self._settings.mode,
                 parameters=[Mnemonic("FIXed", "CW", "LIST")])  # fmt: skip

    def _add_shapes(self, tree: CommandTree, source: str) -> None:
        tree.add(f"{source}:FUNCtion[:SHAPe]", set=self._set_shape, query=lambda _: self._settings.shape,
                 parameters=[Mnemonic("SINusoid", "SQUare", "USER")])  # fmt: skip
        tree.add(f"{source}:FUNCtion:USER", set=self._choose_trace, query=lambda _: f'"{self._settings.user}"',
                 parameters=[Name()])  # fmt: skip
        tree.add("TRACe[:DATA]", set=self._set_trace, parameters=[Name(), Words()])

    def _add_list(self, tree: CommandTree) -> None:
        source = f"[SOURce{self._suffix}]"
        tree.add(f"{source}:LIST:VOLTage", set=self._set_list,
                 query=lambda call: [self._shown(v) for v in self._settings.lists_v[_output(call) - 1]],
                 parameters=[Numeric("V", 0.0, self._highest, repeats=True)])  # fmt: skip
        tree.add(f"{source}:LIST:VOLTage:POINts",
                 query=lambda call: len(self._settings.lists_v[_output(call) - 1]))  # fmt: skip
        tree.add(f"{source}:LIST:DWELl", set=self._set_dwells, query=lambda _: list(self._settings.dwells_s),
                 parameters=[Numeric("S", SHORTEST_DWELL_S, LONGEST_DWELL_S, repeats=True)])  # fmt: skip
        tree.add(f"{source}:LIST:DWELl:POINts", query=lambda _: len(self._settings.dwells_s))
        tree.add(f"{source}:LIST:COUNt", set=self._set_count, query=lambda _: self._settings.count,
                 parameters=[Numeric("", 1, 1e6, 1, whole=True, infinite=True)])  # fmt: skip

    # Outputs

    @property
    def _suffix(self) -> str:
        """Of the nodes that say which output; a generator with one has none."""
        return "<1:2>" if self._outputs == 2 else ""

    def _drive(self, call: Call) -> GeneratorSignal:
        return self._drives[_output(call) - 1]

    # Settings

    def _change(self, **changes: Any) -> None:
        self._settings = replace(self._settings, **changes)

    def _set_frequency(self, call: Call) -> None:
        self._change(frequency_hz=call.values[0])
        self._apply_frequency()

    def _set_shape(self, call: Call) -> None:
        self._change(shape=call.values[0])
        self._apply_shape()

    def _choose_trace(self, call: Call) -> None:
        if call.values[0] not in self._settings.traces:
            raise ScpiError(-256, f"no trace is called {call.values[0]}")
        self._change(user=call.values[0])
        self._apply_shape()

    def _set_trace(self, call: Call) -> None:
        name, samples = call.values
        self._change(traces={**self._settings.traces, name: Wave.of_samples(checked(samples))})
        self._apply_shape()

    def _set_level(self, call: Call) -> None:
        self._settings = self._settings.with_level(_output(call), self._rms(call.values[0]))
        self._apply_levels()

    def _set_unit(self, call: Call) -> None:
        self._change(unit=call.values[0])

    def _set_mode(self, call: Call) -> None:
        self._change(mode="LIST" if call.values[0] == "LIST" else "FIX")
        if self._settings.mode == "FIX":
            self._abort()

    def _set_list(self, call: Call) -> None:
        list_v = self._bounded(tuple(self._rms(value) for value in call.values))
        self._settings = self._settings.with_list(_output(call), list_v)

    def _set_dwells(self, call: Call) -> None:
        self._change(dwells_s=self._bounded(call.values))

    def _set_count(self, call: Call) -> None:
        self._change(count=float(call.values[0]))

    def _set_output(self, call: Call) -> None:
        self._drive(call).switch(call.values[0])

    def _set_trigger_source(self, call: Call) -> None:
        self._change(trigger_source=call.values[0])
        self._pass_immediate_trigger()

    # The trigger system

    def _initiate(self) -> None:
        drive = self.connections.drive
        if self._waiting or drive.list_playing(self.physical_bench.time_s):
            raise ScpiError(-213, "a list is playing or waits for its trigger; ABORt first")
        if self._settings.mode != "LIST":
            return
        dwells_s, (first, second) = self._settings.dwell_times_s(), self._settings.lists_v
        for each, list_v in zip(self._drives, (first, second or first), strict=True):
            each.dwells_s, each.repetitions = dwells_s, self._settings.count
            each.levels_v = tuple(self._true_level_v(level_v) for level_v in list_v)
        self._waiting = True
        self._pass_immediate_trigger()

    def _pass_immediate_trigger(self) -> None:
        """The source IMMediate always triggers at once (SCPI-99 volume 2, chapter 24)."""
        if self._waiting and self._settings.trigger_source == "IMM":
            self._trigger()

    def _trigger_by_bus(self) -> None:
        if self._settings.trigger_source != "BUS":
            raise ScpiError(-211, "the trigger source is not BUS")
        self._trigger()

    def _trigger(self) -> None:
        if not self._waiting:
            raise ScpiError(-211, "nothing waits for a trigger")
        self._waiting = False
        for drive in self._drives:
            drive.start_list(self.physical_bench.time_s)

    def _abort(self) -> None:
        self._waiting = False
        for drive in self._drives:
            drive.stop_list()

    # From the settings to the true output

    def _apply_shape(self) -> None:
        for drive in self._drives:
            drive.wave = self._settings.wave

    def _apply_frequency(self) -> None:
        for drive in self._drives:
            drive.frequency_hz = self._frequency_error.indicated(self._settings.frequency_hz)
            drive.phase_origin_s = self.physical_bench.time_s

    def _apply_levels(self) -> None:
        for drive, level_v in zip(self._drives, self._settings.levels_v, strict=True):
            drive.level_v = self._true_level_v(level_v)

    def _true_level_v(self, level_v: float) -> float:
        """Zero is exactly zero: the attenuator causes the offset of the level, and nothing passes when it is shut."""
        factor = self.connections.faults.factor("generator", "level")
        return factor * max(self._level_error.indicated(level_v), 0.0) if level_v > 0 else 0.0

    def _rms(self, number: float) -> float:
        return round(number * _RMS_PER_UNIT[self._settings.unit] / LEVEL_STEP_V) * LEVEL_STEP_V

    def _shown(self, level_v: float) -> float:
        return level_v / _RMS_PER_UNIT[self._settings.unit]

    def _highest(self) -> float:
        return self._shown(self._description.highest_level_v)

    def _lowest_default(self) -> float:
        return self._shown(0.1)

    def _bounded(self, values: tuple[float, ...]) -> tuple[float, ...]:
        if len(values) > LONGEST_LIST:
            raise ScpiError(-223, f"a list holds {LONGEST_LIST} points")
        return values
