"""A supply that speaks SCPI in words of its own, as its dialect says."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from benchctl.scpi.device.answers import Answer
from benchctl.scpi.device.device import Device, Execution
from benchctl.scpi.device.headers import CommandTree
from benchctl.scpi.device.parameters import Boolean, Mnemonic, Numeric
from benchctl.scpi.errors import ScpiError
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.instrument import Now
from benchctl.simulator.instruments.supplies.addressing import Addressing
from benchctl.simulator.instruments.supplies.dialect import Dialect, Protection
from benchctl.simulator.instruments.supplies.outputs import SupplySettings
from benchctl.simulator.instruments.supplies.supply import Supply
from benchctl.simulator.model.description import SupplyDescription


class _OneByOne(Device):
    """Takes one command or question a message: `;` is a character that it does not know."""

    def begin(self, message: bytes) -> Execution:
        """Run a message; of one with `;` nothing is done, and nothing is answered."""
        if b";" not in message:
            return super().begin(message)
        self.report(-101)
        return super().begin(b"")


class DialectSupply(Supply):
    """One supply that speaks a dialect."""

    def __init__(
        self, physical_bench: PhysicalBench, now: Now, description: SupplyDescription, dialect: Dialect
    ) -> None:
        self._dialect = dialect
        super().__init__(physical_bench, now, description)

    def device_class(self) -> type[Device]:
        """One that takes one command a message, where the dialect says so."""
        return Device if self._dialect.compound else _OneByOne

    def defaults(self) -> SupplySettings:
        """Protection that is always there is on; none that is not there."""
        dialect, settings = self._dialect, super().defaults()
        outputs = {
            number: replace(
                output,
                overvoltage_enabled=dialect.overvoltage is not None,
                overcurrent_delay_s=output.overcurrent_delay_s if dialect.delay_s is None else dialect.delay_s,
            )
            for number, output in settings.outputs.items()
        }
        return replace(settings, outputs=outputs)

    def refresh(self) -> None:
        """As every supply, but for the register of one that says nothing of trips."""
        super().refresh()
        if self._dialect.trips == "unseen":
            self.device.status.questionable.condition = 0

    def add_commands(self, tree: CommandTree) -> None:
        """As the dialect says."""
        dialect = self._dialect
        words = dialect.addressing(tree, self)
        self._add_levels(words)
        if dialect.overvoltage is not None:
            self._add_protection(words, "VOLTage", "overvoltage", "V", dialect.overvoltage)
        if dialect.overcurrent is not None:
            self._add_protection(words, "CURRent", "overcurrent", "A", dialect.overcurrent)
            self._add_delay(words)
        if dialect.overvoltage is not None or dialect.overcurrent is not None:
            words.command("OUTPut:PROTection:CLEar", self.clear)
        self._add_switch(words)
        self._add_measures(words)
        self._add_sense(words)

    def _add_levels(self, words: Addressing) -> None:
        steps = {"voltage_v": self._dialect.voltage_step_v, "limit_a": self._dialect.current_step_a}
        if self._dialect.levels == "each":
            self._add_level(words, "[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]", "voltage_v", "V", steps)
            self._add_level(words, "[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]", "limit_a", "A", steps)
            return

        def apply(number: int, voltage_v: float, limit_a: float) -> None:
            self.set_level(number, "voltage_v", voltage_v, steps["voltage_v"])
            self.set_level(number, "limit_a", limit_a, steps["limit_a"])

        words.command("APPLy", apply, Numeric("V"), Numeric("A"))
        words.question("APPLy", lambda number: [self._level(number, name, step) for name, step in steps.items()])

    def _add_level(self, words: Addressing, header: str, name: str, unit: str, steps: dict[str, float]) -> None:
        words.command(header, lambda number, value: self.set_level(number, name, value, steps[name]), Numeric(unit))
        words.question(header, lambda number: self._level(number, name, steps[name]))

    def _level(self, number: int, name: str, step: float) -> str:
        return _decimals(getattr(self.outputs[number].settings, name), step)

    def _add_protection(self, words: Addressing, quantity: str, name: str, unit: str, protection: Protection) -> None:
        level, enabled = f"{name}_{unit.lower()}", f"{name}_enabled"
        header = f"[SOURce]:{quantity}:PROTection"
        words.command(f"{header}[:LEVel]",
                      lambda number, value: self.set_level(number, level, value, protection.step),
                      Numeric(unit))  # fmt: skip
        words.command(f"{header}:STATe", lambda number, on: self.change(number, **{enabled: on}), Boolean())
        if protection.read_back:
            words.question(f"{header}[:LEVel]", lambda number: self._level(number, level, protection.step))
            words.question(f"{header}:STATe", lambda number: bool(getattr(self.outputs[number].settings, enabled)))
        if self._dialect.trips == "questions":
            words.question(f"{header}:TRIPped", lambda number: self.has_tripped(number, f"{name}_tripped"))

    def _add_delay(self, words: Addressing) -> None:
        if self._dialect.delay_s is None:
            return
        header, name = "[SOURce]:CURRent:PROTection:DELay[:TIME]", "overcurrent_delay_s"
        words.command(header, lambda number, value: self.set_level(number, name, value, 1e-3), Numeric("S"))
        words.question(header, lambda number: self._level(number, name, 1e-3))

    def _add_switch(self, words: Addressing) -> None:
        dialect = self._dialect
        words.command(dialect.switch, lambda number, value: self._switch(number, value != dialect.standby), Boolean())
        words.question(dialect.switch, lambda number: dialect.on if self.true(number).live else dialect.off)

    def _switch(self, number: int, on: bool) -> None:
        if self._dialect.trips == "unseen" and not on:
            self.clear(number)
        self.switch(number, on)

    def _add_measures(self, words: Addressing) -> None:
        if self._dialect.measures == "all":
            words.question("MEASure[:SCALar]:ALL[:DC]", self._measure_all)
            return
        words.question("MEASure[:SCALar]:VOLTage[:DC]", self._volts)
        words.question("MEASure[:SCALar]:CURRent[:DC]", self._amperes)

    def _volts(self, number: int) -> str:
        return _decimals(self.measure_v(number), self._dialect.voltage_step_v)

    def _amperes(self, number: int) -> str:
        return _decimals(self.measure_a(number), self._dialect.current_step_a)

    def _measure_all(self, number: int) -> Answer:
        volts, amperes = self._volts(number), self._amperes(number)
        return [volts, amperes, f"{float(volts) * float(amperes):.3f}"]

    def _add_sense(self, words: Addressing) -> None:
        if not self._dialect.sense:
            return
        header = "[SOURce]:VOLTage:SENSe[:SOURce]"
        words.command(header, self._sense, Mnemonic("INTernal", "EXTernal"))
        words.question(header, lambda number: "EXT" if self.outputs[number].settings.remote_sense else "INT")

    def _sense(self, number: int, word: str) -> None:
        if self.true(number).on:
            raise ScpiError(-221, "the output is on")
        self.change(number, remote_sense=word == "EXT")


def speaking(dialect: Dialect) -> Callable[[PhysicalBench, Now, SupplyDescription], DialectSupply]:
    """What makes a supply that speaks a dialect."""
    return lambda physical_bench, now, description: DialectSupply(physical_bench, now, description, dialect)


def _decimals(value: float, step: float) -> str:
    """To a multiple of the resolution, with as many decimals as it has."""
    decimals = next(count for count in range(10) if abs(step * 10**count - round(step * 10**count)) < 1e-9)
    return f"{round(value / step) * step:.{decimals}f}"
