"""The function generator: a sine, or bursts of it with a low level between them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from benchctl.documents.driver_file.generator import GeneratorDriver
from benchctl.documents.driver_file.language.templates import Value
from benchctl.instruments.role import Role
from benchctl.instruments.safe_part import SafePart
from benchctl.instruments.session import Session

# Read-back agrees with the setting within this part of it, for six digits and a coarse level step.
LEVEL_TOLERANCE = 0.005
LEVEL_TOLERANCE_V = 1e-3
FREQUENCY_TOLERANCE = 1e-4
_FREQUENCY, _LEVEL, _OUTPUT = "the frequency", "the level", "the output"


@dataclass(frozen=True)
class Burst:
    """`cycles` whole cycles at `level_v`, then rest at `low_level_v`; one begins every `every_s`."""

    frequency_hz: float
    cycles: int
    level_v: float
    low_level_v: float
    every_s: float

    @property
    def burst_s(self) -> float:
        """How long the test level lasts."""
        return self.cycles / self.frequency_hz

    @property
    def rest_s(self) -> float:
        """How long the low level lasts."""
        return self.every_s - self.burst_s


class Generator(Role):
    """Levels are V rms of the sine at the generator's output.

    If each output feeds its own amplifier input, every command is sent for each output in turn. Only outputs chosen
    with `drive_inputs` are switched on; all are switched off.
    """

    def __init__(self, session: Session, driver: GeneratorDriver, inputs: Mapping[str, int] | None = None) -> None:
        """`inputs`: amplifier channel -> the output that feeds only this input; if empty, one output feeds all."""
        super().__init__(session, driver)
        self._words = driver.commands
        self._inputs = dict(inputs or {})
        self._outputs = tuple(sorted(self._inputs.values())) or (1,)
        self._driving = self._outputs

    def _set_mode(self) -> None:
        for output in self._outputs:
            self._say(self._words.prepare, output=output)

    def _places(self) -> tuple[Mapping[str, Value], ...]:
        return tuple({"output": output} for output in self._outputs)

    def drive_inputs(self, channels: Sequence[str]) -> None:
        """From now on switch on only the outputs at these channels' inputs; no output may be on now."""
        self._driving = tuple(sorted(self._inputs[channel] for channel in channels))

    def set_frequency(self, frequency_hz: float) -> None:
        """Set and confirm the frequency."""
        tolerance_hz = FREQUENCY_TOLERANCE * frequency_hz
        for output in self._outputs:
            what = self._of(_FREQUENCY, output)
            with self._changing(what):
                self._say(self._words.set_frequency, frequency_hz=frequency_hz, output=output)
                words = self._words.get_frequency
                self._confirm(self._number(what, frequency_hz, "Hz", tolerance_hz, words, {"output": output}))

    def set_level(self, level_v: float) -> None:
        """Set and confirm the level of the steady sine, V rms."""
        tolerance_v = LEVEL_TOLERANCE * level_v + LEVEL_TOLERANCE_V
        for output in self._outputs:
            what = self._of(_LEVEL, output)
            with self._changing(what):
                self._say(self._words.set_level, level_v=level_v, output=output)
                words = self._words.get_level
                self._confirm(self._number(what, level_v, "V rms", tolerance_v, words, {"output": output}))

    def start_burst(self, burst: Burst) -> None:
        """Begin to repeat `burst`, its first cycle at once. What a generator then answers for level and frequency is
        not defined."""
        with self._changing(*(self._of(what, output) for what in (_LEVEL, _FREQUENCY) for output in self._outputs)):
            for output in self._outputs:
                self._say(
                    self._words.burst_on,
                    level_v=burst.level_v,
                    low_level_v=burst.low_level_v,
                    burst_s=burst.burst_s,
                    rest_s=burst.rest_s,
                    output=output,
                )
            self._say(self._words.burst_start)

    def stop_burst(self) -> None:
        """Go back to the steady sine at the level last set for it."""
        for output in self._outputs:
            self._say(self._words.burst_off, output=output)

    def output_on(self) -> None:
        """Connect the output and confirm that it is on."""
        for output in self._driving:
            self._switch_output(output, on=True)

    def output_off(self) -> None:
        """Disconnect every output and confirm that it is off."""
        for output in self._outputs:
            self._switch_output(output, on=False)

    def _switch_output(self, output: int, *, on: bool) -> None:
        what = self._of(_OUTPUT, output)
        with self._changing(what):
            self._say(self._words.output_on if on else self._words.output_off, output=output)
            self._confirm(self._switch(what, self._words.get_output, on=on, output=output))

    def _of(self, what: str, output: int) -> str:
        """The name of a setting; with the output's number where there are several outputs."""
        if len(self._outputs) == 1:
            return what
        return f"output {output}" if what == _OUTPUT else f"{what} of output {output}"

    def safe_parts(self) -> list[SafePart]:
        """Its part of the safe state: every output off."""
        return [
            self._safe_part(
                "output off" if len(self._outputs) == 1 else f"output {output} off",
                self._words.output_off,
                self._words.get_output,
                output=output,
            )
            for output in self._outputs
        ]
