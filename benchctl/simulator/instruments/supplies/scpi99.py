"""The dc supply of the SCPI-99 class: outputs chosen with INSTrument, a watchdog, limits that can be asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from benchctl.scpi.device.answers import Answer
from benchctl.scpi.device.headers import Call, CommandTree
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric
from benchctl.simulator.hardware.watchdog import DEFAULT_S, LONGEST_S, SHORTEST_S
from benchctl.simulator.instruments.instrument import action
from benchctl.simulator.instruments.supplies.outputs import Output
from benchctl.simulator.instruments.supplies.supply import Supply

VOLTAGE_STEP_V = 1e-3
CURRENT_STEP_A = 1e-3
"""Resolution of settings."""


class Scpi99Supply(Supply):
    """Commands go to the output that INSTrument chose."""

    def add_commands(self, tree: CommandTree) -> None:
        """INSTrument, SOURce:VOLTage and CURRent with PROTection, OUTPut, MEASure."""
        self._add_instrument(tree)
        self._add_settings(tree)
        self._add_protection(tree)
        tree.add("OUTPut[:STATe]", set=lambda call: self.switch(self.chosen, call.values[0]),
                 query=lambda _: self.true(self.chosen).live, parameters=[Boolean()])  # fmt: skip
        tree.add("OUTPut:PROTection:CLEar", set=action(lambda: self.clear(self.chosen)))
        self._add_watchdog(tree)
        tree.add("MEASure[:SCALar]:VOLTage[:DC]", query=lambda _: self.measure_v(self.chosen))
        tree.add("MEASure[:SCALar]:CURRent[:DC]", query=lambda _: self.measure_a(self.chosen))
        tree.add("MEASure[:SCALar]:POWer[:DC]",
                 query=lambda _: self.measure_v(self.chosen) * self.measure_a(self.chosen))  # fmt: skip

    def _add_instrument(self, tree: CommandTree) -> None:
        numbers = Numeric("", min(self.outputs), max(self.outputs), min(self.outputs), whole=True)
        tree.add("INSTrument:NSELect", set=lambda call: self.choose(call.values[0]), query=lambda _: self.chosen,
                 parameters=[numbers])  # fmt: skip
        names = {f"OUT{number}": number for number in self.outputs}
        tree.add("INSTrument[:SELect]", set=lambda call: self.choose(names[call.values[0]]),
                 query=lambda _: f"OUT{self.chosen}", parameters=[Mnemonic(*names)])  # fmt: skip
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
            tree.add(f"[SOURce]:{quantity}:PROTection:CLEar", set=action(lambda: self.clear(self.chosen)))

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
    def _output(self) -> Output:
        return self.outputs[self.chosen]

    def _setter(self, name: str, step: float | None = None) -> Callable[[Call], None]:
        def set_value(call: Call) -> None:
            (value,) = call.values
            self.change(self.chosen, **{name: value if step is None else round(value / step) * step})

        return set_value

    def _getter(self, name: str) -> Callable[[Call], Answer]:
        def get(_: Call) -> Answer:
            value: float | bool = getattr(self._output.settings, name)
            return value

        return get

    def _tripped(self, name: str) -> Callable[[Call], Answer]:
        return lambda _: self.has_tripped(self.chosen, name)
