"""Every word of a function generator's driver file, at a small level, its outputs off."""

from __future__ import annotations

from functools import partial
from typing import Any

from benchctl.documents.bench_file.bench import InputsByGenerator
from benchctl.instruments.bursts.burst import Burst
from benchctl.instruments.bursts.two_tones import TwoTones
from benchctl.instruments.exercise.exercise import Exercise, Plan
from benchctl.instruments.exercise.findings import Verdict
from benchctl.instruments.exercise.settings import SettingTrial
from benchctl.instruments.exercise.switches import SwitchTrial
from benchctl.instruments.generator import FREQUENCY_TOLERANCE, LEVEL_TOLERANCE, LEVEL_TOLERANCE_V, Generator

# An amplifier without supply bears these, and so does one that is on: 10 mV with 30 dB are a third of a volt.
LEVELS_V = (0.1, 0.05)
ON_AT_V = 0.01
FREQUENCIES_HZ = (1500.0, 1000.0)
TWO_TONES = TwoTones(low_hz=60.0, high_hz=7000.0, high_share=0.2, level_v=0.05)
BURST = Burst(frequency_hz=1000.0, cycles=8, level_v=0.1, low_level_v=0.01, every_s=0.5)


class GeneratorExercise(Exercise):
    """One output, or those that feed inputs of their own."""

    def __init__(self, *args: Any, **more: Any) -> None:
        super().__init__(*args, **more)
        inputs = self.file.inputs
        self._outputs = sorted(inputs.outputs.values()) if isinstance(inputs, InputsByGenerator) else [1]
        self._switches = [self._switch(output) for output in self._outputs]

    @property
    def _generator(self) -> Generator:
        assert isinstance(self._role, Generator)
        return self._role

    def plan(self) -> Plan:
        return Plan(
            (
                f"generator: resets it, and sets frequencies up to {FREQUENCIES_HZ[0]:g} Hz and levels up to "
                f"{LEVELS_V[0]:g} V rms, steady and in bursts, while the output is off.",
            ),
            (f"generator: switches the output on for a moment at {ON_AT_V:g} V rms. The amplifier has no supply.",),
        )

    def any_place(self) -> dict[str, Any]:
        return {"output": self._outputs[0]}

    def make_off(self) -> bool:
        return all(switch.make_off() for switch in self._switches)

    @property
    def switches(self) -> tuple[SwitchTrial, ...]:
        return tuple(self._switches)

    def make_off_again(self) -> None:
        for output in self._outputs:
            self.talk.say("output_off", output=output)

    def walk(self) -> None:
        for output in self._outputs:
            self._frequency(output)
            self._level(output, LEVELS_V)
        self._bursts()
        self._other_waves()
        if not self._energises:
            self.not_energised("output_on")
        elif self.talk.findings.has_failed("set_level", "get_level"):
            self.talk.note("output_on", Verdict.NOT_TRIED, "the level cannot be set for sure")
        else:
            for output, switch in zip(self._outputs, self._switches, strict=True):
                if self._level(output, (2 * ON_AT_V, ON_AT_V)) and not switch.try_on():
                    return

    def _frequency(self, output: int) -> bool:
        tries = self.two("frequency", *FREQUENCIES_HZ)
        tolerance = partial(self._tolerance, "frequency", FREQUENCY_TOLERANCE, 0.0)
        trial = SettingTrial(
            "set_frequency", "get_frequency", "frequency_hz", "Hz", tries, tolerance, {"output": output}
        )
        return trial.run(self.talk)

    def _level(self, output: int, levels_v: tuple[float, float]) -> bool:
        tries = self.two("level", *levels_v)
        tolerance = partial(self._tolerance, "level", LEVEL_TOLERANCE, LEVEL_TOLERANCE_V)
        return SettingTrial("set_level", "get_level", "level_v", "V", tries, tolerance, {"output": output}).run(
            self.talk
        )

    def _tolerance(self, setting: str, part: float, fixed: float, wanted: float) -> float:
        return part * wanted + fixed + self.half_step(setting, wanted)

    def _bursts(self) -> None:
        """Each line by itself where its values are plain numbers; else as the generator's role sends them."""
        talk = self.talk
        if not talk.has("burst_on"):
            return
        values: dict[str, Any] = BURST.values()
        if talk.words("burst_on").uses <= values.keys() | {"output"}:
            for output in self._outputs:
                self.accepted("burst_on", output=output, **values)
            self.accepted("burst_start")
        elif talk.attempt("burst_on", partial(self._generator.start_burst, BURST)) is not None:
            talk.note("burst_on", Verdict.ACCEPTED, "there is nothing to confirm it with")
        self.accepted("trigger_burst", **values)
        for output in self._outputs:
            self.accepted("burst_off", output=output)
            self._steady_again(output)

    def _steady_again(self, output: int) -> None:
        """After bursts the steady level must be the one that was set for it."""
        talk = self.talk
        if talk.findings.has_failed("set_level", "get_level", "burst_on", "burst_off") or not talk.has("get_level"):
            return
        wanted, got = self.two("level", *LEVELS_V)[1], talk.number("get_level", output=output)
        talk.say("set_level", output=output, level_v=wanted)
        again = talk.number("get_level", output=output)
        if again is not None and abs(again - wanted) > self._tolerance(
            "level", LEVEL_TOLERANCE, LEVEL_TOLERANCE_V, wanted
        ):
            text = f"after it the level reads back {again:g} V where {wanted:g} V was set: bursts are still on"
            talk.note("burst_off", Verdict.WRONG, text, suspects=["burst_on"])
        elif got is not None:
            talk.note("burst_off", Verdict.WORKS)

    def _other_waves(self) -> None:
        """A square wave and two tones, and back to the sine; nothing confirms them but that no error comes of them."""
        talk = self.talk
        for on, off, start in (
            ("square_on", "square_off", partial(self._generator.start_square, LEVELS_V[1])),
            ("two_tones_on", "two_tones_off", partial(self._generator.start_two_tones, TWO_TONES)),
        ):
            if not talk.has(on):
                continue
            if talk.attempt(on, start) is not None:
                talk.note(on, Verdict.ACCEPTED, "there is nothing to confirm it with")
            for output in self._outputs:
                self.accepted(off, output=output)

    def _switch(self, output: int) -> SwitchTrial:
        what = "its output" if len(self._outputs) == 1 else f"output {output}"
        return SwitchTrial(self.talk, "output_on", "output_off", "get_output", what, {"output": output})
