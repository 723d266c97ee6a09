"""The dc supply: the words of the SCPI-99 dc supply class, several outputs chosen with INSTrument.

Voltages and currents are set and read with the instrument's own errors; protection levels are exact. A read-back is the
mean over the last 20 ms, so with a burst train it depends on the time of the question, as on a real supply.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from benchctl.scpi.device.answers import Answer
from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric
from benchctl.scpi.device.status import Questionable
from benchctl.scpi.errors import ScpiError
from benchctl.simulator.hardware.history import SupplyMeans
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.hardware.supply_outputs import SupplyOutput
from benchctl.simulator.hardware.watchdog import DEFAULT_S, LONGEST_S, SHORTEST_S, WatchdogSettings
from benchctl.simulator.instruments.instrument import Instrument, Now, action
from benchctl.simulator.model.description import SupplyDescription, SupplyOutputDescription
from benchctl.simulator.model.true_errors import TrueError, TrueErrors

MEASURING_S = 0.02
"""What a read-back averages over: one period of the mains, as supplies do (common practice)."""

VOLTAGE_STEP_V = 1e-3
CURRENT_STEP_A = 1e-3
"""Resolution of settings."""

PROTECTION_HEADROOM = 1.1
"""How far above the output's maximum a protection level can be set."""

VOLTAGE_NOISE_V = 0.0005
CURRENT_NOISE_A = 0.005
"""RMS, of a read-back."""


@dataclass(frozen=True)
class OutputSettings:
    """Settings of one output as they were asked for, without whether it is on."""

    voltage_v: float
    limit_a: float
    overvoltage_v: float
    overcurrent_a: float
    overvoltage_enabled: bool = True
    overcurrent_enabled: bool = False


@dataclass(frozen=True)
class SupplySettings:
    """Settings of every output by its number, the output that commands go to, and the watchdog over all outputs."""

    chosen: int
    outputs: Mapping[int, OutputSettings]
    watchdog: WatchdogSettings


class _Output:
    """One output as the instrument knows it: settings asked for, errors of its own."""

    def __init__(
        self, description: SupplyOutputDescription, supply: SupplyDescription, true_errors: TrueErrors
    ) -> None:
        self.description = description
        self.settings = self.defaults()
        name = f"supply {description.name}"
        voltage, current = description.highest_voltage_v, description.highest_current_a
        self.voltage_setting = true_errors.error(f"{name} voltage setting", supply.voltage, voltage)
        self.current_setting = true_errors.error(f"{name} current setting", supply.current, current)
        self.voltage_reading = true_errors.error(f"{name} voltage", supply.voltage, voltage)
        self.current_reading = true_errors.error(f"{name} current", supply.current, current)

    @property
    def highest_overvoltage_v(self) -> float:
        """The highest over-voltage protection level that can be set."""
        return PROTECTION_HEADROOM * self.description.highest_voltage_v

    @property
    def highest_overcurrent_a(self) -> float:
        """The highest over-current protection level that can be set."""
        return PROTECTION_HEADROOM * self.description.highest_current_a

    @property
    def lowest_limit_a(self) -> float:
        """The current limit after *RST."""
        return self.description.highest_current_a / 100

    def defaults(self) -> OutputSettings:
        """0 V, a hundredth of the current, protection at its highest."""
        return OutputSettings(0.0, self.lowest_limit_a, self.highest_overvoltage_v, self.highest_overcurrent_a)

    def apply(self, output: SupplyOutput, now_s: float) -> None:
        """Set the true output from the settings."""
        asked = self.settings
        output.voltage_v = max(self.voltage_setting.indicated(asked.voltage_v), 0.0) if asked.voltage_v else 0.0
        output.limit_a = max(self.current_setting.indicated(asked.limit_a), 0.0)
        output.overvoltage_v = asked.overvoltage_v if asked.overvoltage_enabled else float("inf")
        output.overcurrent_a = asked.overcurrent_a if asked.overcurrent_enabled else float("inf")
        output.changed_s = now_s


class SimulatedSupply(Instrument[SupplySettings]):
    """All outputs; commands go to the one that INSTrument chose.

    A recall brings back protection levels with the rest, and leaves a protection that has tripped as it is.
    """

    model = "Dc supply"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: SupplyDescription) -> None:
        self._outputs = {
            each.number: _Output(each, description, physical_bench.true_errors) for each in description.outputs
        }
        self._chosen = min(self._outputs)
        self._chance = physical_bench.true_errors.stream("supply noise")
        super().__init__(physical_bench, now)

    def defaults(self) -> SupplySettings:
        """The first output chosen."""
        outputs = {number: output.defaults() for number, output in self._outputs.items()}
        return SupplySettings(min(outputs), outputs, WatchdogSettings())

    def snapshot(self) -> SupplySettings:
        """Settings of all outputs."""
        outputs = {number: output.settings for number, output in self._outputs.items()}
        return SupplySettings(self._chosen, outputs, self.connections.watchdog.settings)

    def restore(self, settings: SupplySettings) -> None:
        """Every output off."""
        self._chosen = settings.chosen
        self.connections.watchdog.set(settings.watchdog, self.physical_bench.time_s)
        for number, output in self._outputs.items():
            true = self.connections.outputs[number]
            true.switch(False)
            output.settings = settings.outputs[number]
            output.apply(true, self.physical_bench.time_s)

    def reset(self) -> None:
        """As other instruments do, and clear tripped protections."""
        super().reset()
        for output in self.connections.outputs.values():
            output.clear()
        self.connections.watchdog.clear(self.physical_bench.time_s)

    def refresh(self) -> None:
        """Bring the simulated bench up to the clock, and the questionable conditions with it."""
        super().refresh()
        outputs = self.connections.outputs.values()
        questionable = self.device.status.questionable
        questionable.mark(Questionable.VOLTAGE, any(output.overvoltage_tripped for output in outputs))
        questionable.mark(Questionable.CURRENT, any(output.overcurrent_tripped for output in outputs))

    def add_commands(self, tree: CommandTree) -> None:
        """INSTrument, SOURce:VOLTage and CURRent with PROTection, OUTPut, MEASure."""
        self._add_instrument(tree)
        self._add_settings(tree)
        self._add_protection(tree)
        tree.add("OUTPut[:STATe]", set=self._switch, query=lambda _: self._true.live, parameters=[Boolean()])
        tree.add("OUTPut:PROTection:CLEar", set=action(self._clear))
        self._add_watchdog(tree)
        tree.add("MEASure[:SCALar]:VOLTage[:DC]", query=lambda _: self._measure_v())
        tree.add("MEASure[:SCALar]:CURRent[:DC]", query=lambda _: self._measure_a())
        tree.add("MEASure[:SCALar]:POWer[:DC]", query=lambda _: self._measure_v() * self._measure_a())

    def _add_instrument(self, tree: CommandTree) -> None:
        numbers = Numeric("", min(self._outputs), max(self._outputs), min(self._outputs), whole=True)
        tree.add("INSTrument:NSELect", set=lambda call: self._choose(call.values[0]), query=lambda _: self._chosen,
                 parameters=[numbers])  # fmt: skip
        names = {f"OUT{number}": number for number in self._outputs}
        tree.add("INSTrument[:SELect]", set=lambda call: self._choose(names[call.values[0]]),
                 query=lambda _: f"OUT{self._chosen}", parameters=[Mnemonic(*names)])  # fmt: skip
        tree.add("INSTrument:CATalog", query=lambda _: ",".join(f'"{name}"' for name in names))
        tree.add("SYSTem:CAPability", query=lambda _: '"DCPSUPPLY WITH (MEASURE&MULTIPLE)"')

    def _add_settings(self, tree: CommandTree) -> None:
        tree.add("[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]",
                 set=self._setter("voltage_v", VOLTAGE_STEP_V), query=self._getter("voltage_v"),
                 parameters=[Numeric("V", 0.0, lambda: self._output.description.highest_voltage_v, 0.0)])  # fmt: skip
        tree.add("[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]",
                 set=self._setter("limit_a", CURRENT_STEP_A), query=self._getter("limit_a"),
                 parameters=[Numeric("A", 0.0, lambda: self._output.description.highest_current_a,
                                     lambda: self._output.lowest_limit_a)])  # fmt: skip

    def _add_protection(self, tree: CommandTree) -> None:
        tree.add("[SOURce]:VOLTage:PROTection[:LEVel]", set=self._setter("overvoltage_v", VOLTAGE_STEP_V),
                 query=self._getter("overvoltage_v"),
                 parameters=[Numeric("V", 0.0, lambda: self._output.highest_overvoltage_v,
                                     lambda: self._output.highest_overvoltage_v)])  # fmt: skip
        tree.add("[SOURce]:CURRent:PROTection[:LEVel]", set=self._setter("overcurrent_a", CURRENT_STEP_A),
                 query=self._getter("overcurrent_a"),
                 parameters=[Numeric("A", 0.0, lambda: self._output.highest_overcurrent_a,
                                     lambda: self._output.highest_overcurrent_a)])  # fmt: skip
        for quantity, setting in (("VOLTage", "overvoltage"), ("CURRent", "overcurrent")):
            tree.add(f"[SOURce]:{quantity}:PROTection:STATe", set=self._setter(f"{setting}_enabled"),
                     query=self._getter(f"{setting}_enabled"), parameters=[Boolean()])  # fmt: skip
            tree.add(f"[SOURce]:{quantity}:PROTection:TRIPped", query=self._tripped(f"{setting}_tripped"))
            tree.add(f"[SOURce]:{quantity}:PROTection:CLEar", set=action(self._clear))

    def _add_watchdog(self, tree: CommandTree) -> None:
        """SCPI-99 has no watchdog: these commands have the form that real supplies use."""
        watchdog = self.connections.watchdog
        tree.add("OUTPut:PROTection:WDOG[:STATe]", set=lambda call: self._watch(enabled=call.values[0]),
                 query=lambda _: watchdog.settings.enabled, parameters=[Boolean()])  # fmt: skip
        tree.add("OUTPut:PROTection:WDOG:DELay", set=lambda call: self._watch(delay_s=call.values[0]),
                 query=lambda _: watchdog.settings.delay_s,
                 parameters=[Numeric("S", SHORTEST_S, LONGEST_S, DEFAULT_S)])  # fmt: skip
        tree.add("OUTPut:PROTection:WDOG:RESet", set=action(lambda: watchdog.feed(self.physical_bench.time_s)))
        tree.add("OUTPut:PROTection:WDOG:TRIPped", query=lambda _: watchdog.tripped)

    def _watch(self, **changed: Any) -> None:
        watchdog = self.connections.watchdog
        watchdog.set(replace(watchdog.settings, **changed), self.physical_bench.time_s)

    # The chosen output

    @property
    def _output(self) -> _Output:
        return self._outputs[self._chosen]

    @property
    def _true(self) -> SupplyOutput:
        return self.connections.outputs[self._chosen]

    def _choose(self, number: int) -> None:
        if number not in self._outputs:
            raise ScpiError(-222, f"there is no output {number}")
        self._chosen = number

    def _setter(self, name: str, step: float | None = None) -> Callable[[Call], None]:
        def set_value(call: Call) -> None:
            (value,) = call.values
            output = self._output
            output.settings = replace(output.settings, **{name: value if step is None else round(value / step) * step})
            output.apply(self._true, self.physical_bench.time_s)

        return set_value

    def _getter(self, name: str) -> Callable[[Call], Answer]:
        def get(_: Call) -> Answer:
            value: float | bool = getattr(self._output.settings, name)
            return value

        return get

    def _tripped(self, name: str) -> Callable[[Call], Answer]:
        def get(_: Call) -> Answer:
            self.refresh()  # a level set earlier in this message may have tripped it
            return bool(getattr(self._true, name))

        return get

    def _switch(self, call: Call) -> None:
        on = call.values[0]
        if on and self._true.tripped:
            raise ScpiError(-221, "a protection has tripped; OUTPut:PROTection:CLEar first")
        if on != self._true.on:
            self._true.changed_s = self.physical_bench.time_s
        self._true.switch(on)
        self.refresh()

    def _clear(self) -> None:
        self._true.clear()
        if not any(output.watchdog_tripped for output in self.connections.outputs.values()):
            self.connections.watchdog.clear(self.physical_bench.time_s)

    # Read-backs

    def _measure_v(self) -> float:
        return self._factor("voltage") * self._read(
            self._output.voltage_reading, self._means().voltage_v, VOLTAGE_NOISE_V
        )

    def _measure_a(self) -> float:
        return self._factor("current") * self._read(
            self._output.current_reading, self._means().current_a, CURRENT_NOISE_A
        )

    def _factor(self, what: str) -> float:
        """A fault of the bench makes readings of the main output wrong."""
        return self.connections.factor("supply", what) if self._true is self.connections.main_output else 1.0

    def _means(self) -> SupplyMeans:
        return self.physical_bench.supply_means(self._chosen, MEASURING_S)

    def _read(self, error: TrueError, true_value: float, noise: float) -> float:
        return error.indicated(true_value) + self._chance.gauss(0.0, noise)
