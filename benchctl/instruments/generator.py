"""The function generator: a sine, bursts of it with a low level or silence between, a square wave, or two tones."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from benchctl.documents.driver_file.generator import GeneratorDriver
from benchctl.documents.driver_file.language.commands import Command
from benchctl.documents.driver_file.language.templates import Template, Value
from benchctl.instruments.bursts.burst import Burst
from benchctl.instruments.bursts.table import USUAL_POINTS, points_of, samples_of, written
from benchctl.instruments.bursts.two_tones import TwoTones
from benchctl.instruments.role import Role
from benchctl.instruments.safe_part import SafePart
from benchctl.instruments.session import Session

# Read-back agrees with the setting within this part of it, for six digits.
LEVEL_TOLERANCE = 0.005
LEVEL_TOLERANCE_V = 1e-3
FREQUENCY_TOLERANCE = 1e-4
_FREQUENCY, _LEVEL, _OUTPUT = "the frequency", "the level", "the output"


class Generator(Role):
    """Levels are V rms of the sine at the amplifier's input, which is high; the driver file may say that the display
    shows half of it.

    If each output feeds its own amplifier input, every command is sent for each output in turn. Only outputs chosen
    with `drive_inputs` are switched on; all are switched off.
    """

    def __init__(self, session: Session, driver: GeneratorDriver, inputs: Mapping[str, int] | None = None) -> None:
        """`inputs`: amplifier channel -> the output that feeds only this input; if empty, one output feeds all."""
        super().__init__(session, driver)
        self._driver = driver
        self._words = driver.commands
        self._inputs = dict(inputs or {})
        self._outputs = tuple(sorted(self._inputs.values())) or (1,)
        self._driving = self._outputs
        self._tables: dict[int, str] = {}
        self._to_sine: tuple[Command, ...] = ()

    @property
    def rests_are_silent(self) -> bool:
        """Whether nothing sounds between its bursts."""
        return self._driver.rests_are_silent

    @property
    def phase_is_free(self) -> bool:
        """Whether its bursts begin anywhere in a cycle."""
        return self._driver.phase == "free"

    @property
    def needs_triggers(self) -> bool:
        """Whether each burst must be triggered."""
        return bool(self._words.trigger_burst)

    def _set_mode(self) -> None:
        self._tables.clear()
        for output in self._outputs:
            self._say(self._words.prepare, output=output)

    def _places(self) -> tuple[Mapping[str, Value], ...]:
        return tuple({"output": output} for output in self._outputs)

    def drive_inputs(self, channels: Sequence[str]) -> None:
        """From now on switch on only the outputs at these channels' inputs; no output may be on now."""
        self._driving = tuple(sorted(self._inputs[channel] for channel in channels))

    def set_frequency(self, frequency_hz: float) -> None:
        """Set the frequency, and confirm it where it can be asked for."""
        for output in self._outputs:
            what = self._of(_FREQUENCY, output)
            with self._changing(what):
                self._say(self._words.set_frequency, frequency_hz=frequency_hz, output=output)
                if self._words.get_frequency:
                    tolerance_hz = FREQUENCY_TOLERANCE * frequency_hz + self._half_step("frequency", frequency_hz)
                    words, place = self._words.get_frequency, {"output": output}
                    self._confirm(self._number(what, frequency_hz, "Hz", tolerance_hz, words, place))

    def settable(self, level_v: float) -> float:
        """The level nearest to this one that the generator can be set to; none is not a level."""
        share = self._driver.display_share
        shown_v = self._stepped("level", level_v * share) or self._stepped("level", level_v * share, "up")
        return shown_v / share

    @property
    def settable_around(self) -> Callable[[float], tuple[float, float]] | None:
        """Gives the levels at or below and at or above another that can be set; None where any can."""
        steps = self._driver.steps.get("level")
        if steps is None:
            return None
        share = self._driver.display_share

        def around(level_v: float) -> tuple[float, float]:
            shown_v = level_v * share
            return steps.rounded(shown_v, "down") / share, steps.rounded(shown_v, "up") / share

        return around

    def set_level(self, level_v: float) -> float:
        """Set the level of the steady sine, and confirm it where it can be asked for.

        Returns:
            the level that is set: the driver file may name the steps of the generator's level.
        """
        level_v = self.settable(level_v)
        shown_v = level_v * self._driver.display_share
        tolerance_v = LEVEL_TOLERANCE * shown_v + LEVEL_TOLERANCE_V + self._half_step("level", shown_v)
        for output in self._outputs:
            what = self._of(_LEVEL, output)
            with self._changing(what):
                self._say(self._words.set_level, level_v=shown_v, output=output)
                if self._words.get_level:
                    words, place = self._words.get_level, {"output": output}
                    self._confirm(self._number(what, shown_v, self._volts, tolerance_v, words, place))
        return level_v

    @property
    def _volts(self) -> str:
        """The unit of the display."""
        share = self._driver.display_share
        return "V rms" if share == 1 else f"V rms on its display, which shows them for {self._driver.level_into}"

    def start_burst(self, burst: Burst) -> Burst:
        """Begin to repeat bursts, or make them ready where each must be triggered; the outputs are off meanwhile.

        What a generator then answers for level and frequency is not defined. The steady level under bursts over a low
        level is the low one, so that no end of them leaves the amplifier at full drive.

        Returns:
            the burst as it is played: with the levels that can be set.
        """
        low_v = 0.0 if self.rests_are_silent else burst.low_level_v
        played = replace(burst, level_v=self.settable(burst.level_v), low_level_v=low_v)
        if "low_level_v" in self._words.burst_on.uses:
            self.set_level(low_v)
        values = self._burst_values(played)
        with self._changing(*(self._of(what, output) for what in (_LEVEL, _FREQUENCY) for output in self._outputs)):
            for output in self._outputs:
                self._say_burst(output, values)
            self._say(self._words.burst_start)
        return played

    def _burst_values(self, burst: Burst) -> dict[str, Value]:
        share = self._driver.display_share
        shown = replace(burst, level_v=burst.level_v * share, low_level_v=burst.low_level_v * share)
        values: dict[str, Value] = dict(shown.values())
        if self._words.bursts_by_table:
            points = self.table_points(burst.frequency_hz, burst.every_s)
            values["table"] = written(samples_of(burst, points), self._driver.table)
            values |= {"table_points": points, "table_rate_hz": points / burst.every_s}
        return values

    def table_points(self, frequency_hz: float, every_s: float) -> int:
        """How many samples a table of bursts has."""
        return table_points(self._driver, frequency_hz, every_s)

    def _say_burst(self, output: int, values: Mapping[str, Value]) -> None:
        """Long tables take long to send, so one that is there already is not sent again."""
        is_there = self._tables.get(output) == values.get("table")
        with self.session.undisturbed():
            for template in self._words.burst_on.templates:
                if not (template.holds_table and is_there):
                    self._send(template.message(output=output, **values))
        if "table" in values:
            self._tables[output] = str(values["table"])

    def trigger_burst(self) -> None:
        """Play one burst of those that were made ready."""
        for output in self._driving if _uses_output(self._words.trigger_burst.templates) else (1,):
            self._say(self._words.trigger_burst, output=output)

    def stop_burst(self) -> None:
        """Go back to a steady sine; the outputs are off meanwhile, for its level may be that of the bursts."""
        for output in self._outputs:
            self._say(self._words.burst_off, output=output)

    def start_square(self, level_v: float) -> float:
        """A square wave instead of the sine, at the frequency that is set; the outputs are off meanwhile.

        Args:
            level_v: V RMS of the sine with the same peak.

        Returns:
            the level that is set, by the steps of the generator's level.
        """
        set_v = self.settable(level_v)
        shown_v = set_v * self._driver.display_share
        self._to_sine = (self._words.square_off,)
        with self._changing(*(self._of(_LEVEL, output) for output in self._outputs)):
            for output in self._outputs:
                self._say(self._words.square_on, level_v=shown_v, square_v=math.sqrt(2.0) * shown_v, output=output)
        return set_v

    def start_two_tones(self, tones: TwoTones) -> TwoTones:
        """Two tones instead of the sine; the outputs are off meanwhile.

        Returns:
            the tones as they are played, by the steps of the generator's level.
        """
        played = replace(tones, level_v=self.settable(tones.level_v))
        shown = replace(played, level_v=played.level_v * self._driver.display_share)
        values: dict[str, Value] = dict(shown.values())
        if "table" in self._words.two_tones_on.uses:
            points = self.table_points(tones.high_hz, 1.0 / tones.common_hz)
            values["table"] = written(shown.samples(points), self._driver.table)
            values |= {"table_points": points, "table_rate_hz": points * tones.common_hz}
        with self._changing(*(self._of(what, output) for what in (_LEVEL, _FREQUENCY) for output in self._outputs)):
            self._tables.clear()
            self._to_sine = (self._words.two_tones_off,)
            for output in self._outputs:
                self._say(self._words.two_tones_on, output=output, **values)
        return played

    def stop_other_waves(self) -> None:
        """Go back to the sine from what was started last; the outputs are off meanwhile, and level and frequency are to
        be set again."""
        for words in self._to_sine:
            for output in self._outputs:
                self._say(words, output=output)
        self._to_sine = ()

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
            if self._words.get_output:
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


def table_points(driver: GeneratorDriver, frequency_hz: float, every_s: float) -> int:
    """How many samples a table of bursts has with a driver file."""
    limits: Mapping[str, Any] = driver.limits
    most = limits["table_points"].most if "table_points" in limits else USUAL_POINTS
    rate_hz = limits["table_rate"].most if "table_rate" in limits else math.inf
    return points_of(frequency_hz, every_s, most, rate_hz)


def _uses_output(templates: Sequence[Template]) -> bool:
    return any("output" in template.uses for template in templates)
