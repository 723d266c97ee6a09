"""What every simulated supply does, whatever words it is told in: outputs by number, protection, read-backs.

Voltages and currents are set and read with the instrument's own errors; protection levels are exact. A read-back is the
mean over the last 20 ms, so with a burst train it depends on the time of the question, as on a real supply.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from benchctl.scpi.device.status import Questionable
from benchctl.scpi.errors import ScpiError
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.hardware.supply_outputs import SupplyOutput
from benchctl.simulator.hardware.watchdog import WatchdogSettings
from benchctl.simulator.instruments.instrument import Instrument, Now
from benchctl.simulator.instruments.supplies.outputs import Output, SupplySettings
from benchctl.simulator.model.description import SupplyDescription
from benchctl.simulator.model.true_errors import TrueError

MEASURING_S = 0.02
"""What a read-back averages over: one period of the mains, as supplies do (common practice)."""

VOLTAGE_NOISE_V = 0.0005
CURRENT_NOISE_A = 0.005
"""RMS, of a read-back."""


class Supply(Instrument[SupplySettings]):
    """All outputs, by their numbers. Its words are added by the forms.

    A recall brings back protection levels with the rest, and leaves a protection that has tripped as it is.
    """

    model = "Dc supply"

    def __init__(self, physical_bench: PhysicalBench, now: Now, description: SupplyDescription) -> None:
        self.outputs = {
            each.number: Output(each, description, physical_bench.true_errors) for each in description.outputs
        }
        self.chosen = min(self.outputs)
        self._chance = physical_bench.true_errors.stream("supply noise")
        self._imperfections = physical_bench.description.bench.imperfections.supply
        super().__init__(physical_bench, now)

    def defaults(self) -> SupplySettings:
        """The first output chosen."""
        outputs = {number: output.defaults() for number, output in self.outputs.items()}
        return SupplySettings(min(outputs), outputs, WatchdogSettings())

    def snapshot(self) -> SupplySettings:
        """Settings of all outputs."""
        outputs = {number: output.settings for number, output in self.outputs.items()}
        return SupplySettings(self.chosen, outputs, self.connections.watchdog.settings)

    def restore(self, settings: SupplySettings) -> None:
        """Every output off."""
        self.chosen = settings.chosen
        self.connections.watchdog.set(settings.watchdog, self.physical_bench.time_s)
        for number, output in self.outputs.items():
            true = self.true(number)
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

    # What the words do

    def true(self, number: int) -> SupplyOutput:
        """The true output of this number."""
        return self.connections.outputs[number]

    def choose(self, number: int) -> None:
        """Let commands go to this output."""
        if number not in self.outputs:
            raise ScpiError(-222, f"there is no output {number}")
        self.chosen = number

    def set_level(self, number: int, name: str, value: float, step: float) -> None:
        """Change one setting that is a number, to the nearest multiple of `step`."""
        if not 0.0 <= value <= self.outputs[number].highest(name):
            raise ScpiError(-222, f"{value:.9g} is out of range")
        self.change(number, **{name: round(value / step) * step})

    def change(self, number: int, **changed: Any) -> None:
        """Change settings of an output."""
        output = self.outputs[number]
        output.settings = replace(output.settings, **changed)
        output.apply(self.true(number), self.physical_bench.time_s)

    def switch(self, number: int, on: bool) -> None:
        """Switch an output; one that tripped does not come on."""
        output = self.true(number)
        if on and output.tripped:
            raise ScpiError(-221, "a protection has tripped and was not cleared")
        if on != output.on:
            output.changed_s = self.physical_bench.time_s
        output.switch(on)
        self.refresh()

    def clear(self, number: int) -> None:
        """Forget an output's trips; the watchdog is cleared with the last of them."""
        self.true(number).clear()
        if not any(output.watchdog_tripped for output in self.connections.outputs.values()):
            self.connections.watchdog.clear(self.physical_bench.time_s)

    def has_tripped(self, number: int, name: str) -> bool:
        """Whether a protection has; a level set earlier in this message may have tripped it."""
        self.refresh()
        return bool(getattr(self.true(number), name))

    # Read-backs

    def measure_v(self, number: int) -> float:
        """The voltage at the terminals, or at the sense leads."""
        true_v = self.physical_bench.supply_means(number, MEASURING_S).voltage_v
        error = self.outputs[number].voltage_reading
        shown_v = self._factor(number, "voltage") * self._read(error, true_v, VOLTAGE_NOISE_V)
        return _in_steps(shown_v, self._imperfections.voltage_step_v)

    def measure_a(self, number: int) -> float:
        """The current."""
        true_a = self.physical_bench.supply_means(number, MEASURING_S).current_a
        error = self.outputs[number].current_reading
        shown_a = self._factor(number, "current") * self._read(error, true_a, CURRENT_NOISE_A)
        return _in_steps(shown_a, self._imperfections.current_step_a)

    def _factor(self, number: int, what: str) -> float:
        """A fault of the bench makes readings of the main output wrong."""
        is_main = self.true(number) is self.connections.main_output
        return self.connections.faults.factor("supply", what) if is_main else 1.0

    def _read(self, error: TrueError, true_value: float, noise: float) -> float:
        return error.indicated(true_value) + self._chance.gauss(0.0, noise)


def _in_steps(value: float, step: float) -> float:
    """As a display shows it that has no finer steps."""
    return round(value / step) * step if step else value
