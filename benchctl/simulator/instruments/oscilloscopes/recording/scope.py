"""The oscilloscope without its commands: settings, one acquisition at a time, and the finished record.

What it does not model: ac coupling, averaging, more than one record in memory; a bandwidth limit only lowers noise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from benchctl.scpi.errors import ScpiError
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.instruments.oscilloscopes.recording.acquisition import (
    EXTERNAL,
    Acquisition,
    Record,
    Timing,
    Trigger,
)
from benchctl.simulator.instruments.oscilloscopes.recording.codes import CodeFormat, Scaling, encode, scaling
from benchctl.simulator.instruments.oscilloscopes.recording.digitiser import DIVISIONS, Vertical
from benchctl.simulator.instruments.oscilloscopes.recording.inputs import Inputs
from benchctl.simulator.instruments.oscilloscopes.recording.traits import Traits
from benchctl.simulator.model.description import OscilloscopeDescription

FINEST_V_PER_DIVISION = 5e-4
SCALE_DIGITS = 3
"""Digits of a vertical scale, as the vernier of an input gives."""

HORIZONTAL_DIVISIONS = 10
LONGEST_SPAN_S = 1000.0
FEWEST_SAMPLES = 100


@dataclass(frozen=True)
class Channel:
    """Settings of one input, in volts at the input."""

    displayed: bool = True
    vertical: Vertical = field(default_factory=Vertical)
    attenuation: float = 1.0
    """the probe factor that the user sets: every voltage set and shown is multiplied by it"""


@dataclass(frozen=True)
class Position:
    """Where the trigger lies in the record, as it was set: the value belongs to `reference`."""

    reference: Literal["left", "middle", "per cent"] = "left"
    value: float = 0.0
    """seconds after the left edge, seconds after the middle, or per cent of the record"""

    def pretrigger_s(self, span_s: float) -> float:
        """From the first sample to the trigger."""
        if self.reference == "left":
            return self.value
        if self.reference == "middle":
            return span_s / 2 + self.value
        return span_s * self.value / 100


@dataclass(frozen=True)
class ScopeSettings:
    """All that the command sets set; by default 1 V and 1 ms a division, 10000 samples, automatic external trigger."""

    channels: Mapping[int, Channel]
    timing: Timing = field(default_factory=Timing)
    trigger: Trigger = field(default_factory=Trigger)
    position: Position = field(default_factory=Position)


class Scope:
    """What all command sets control. Wrong settings raise ScpiError."""

    def __init__(
        self, physical_bench: PhysicalBench, description: OscilloscopeDescription, traits: Traits | None = None
    ) -> None:
        self.description = description
        self.traits = traits or Traits()
        self.inputs = Inputs(physical_bench, description)
        rolls_from_s = self.traits.roll_from_s * HORIZONTAL_DIVISIONS
        self.acquisition = Acquisition(physical_bench, self.inputs.find_edge, rolls_from_s=rolls_from_s)
        self.position = Position()
        self.channels: dict[int, Channel] = {}
        # The settings at the time of a record: later changes must not rescale it.
        self._taken: dict[int, Vertical] = {}
        # A record that is fetched in pieces is digitised once.
        self._digitised: tuple[int, int, NDArray[np.int32]] | None = None
        physical_bench.watch(self.acquisition)
        self.restore(self.defaults())

    def defaults(self) -> ScopeSettings:
        """Default settings: the first channel is shown."""
        numbers = range(1, self.description.channels + 1)
        return ScopeSettings({number: Channel(displayed=number == 1) for number in numbers})

    def snapshot(self) -> ScopeSettings:
        """The present settings."""
        return ScopeSettings(dict(self.channels), self.acquisition.timing, self.acquisition.trigger, self.position)

    def restore(self, settings: ScopeSettings) -> None:
        """Use these settings; stopped and without a record, because none was taken with them."""
        self.acquisition.stop()
        self.acquisition.record = None
        self.acquisition.timing, self.acquisition.trigger = settings.timing, settings.trigger
        self.position = settings.position
        self.channels = dict(settings.channels)
        self._taken = {}

    # Settings

    def change_channel(self, number: int, **changes: Any) -> None:
        """Change some of an input's settings."""
        self.channels[number] = replace(self.channels[number], **changes)

    def set_scale(self, number: int, shown_v: float) -> None:
        """Volts a division; -222 outside what the input can be set to."""
        channel = self.channels[number]
        if not FINEST_V_PER_DIVISION <= shown_v / channel.attenuation <= 2 * self.description.input_v / DIVISIONS:
            raise ScpiError(-222, f"{shown_v:.4g} V a division")
        rounded = self.traits.scale_v(float(f"{shown_v / channel.attenuation:.{SCALE_DIGITS - 1}e}"))
        self.change_channel(number, vertical=replace(channel.vertical, volts_per_division=rounded))

    def scale_v(self, number: int) -> float:
        """Volts a division, as shown."""
        channel = self.channels[number]
        return channel.vertical.volts_per_division * channel.attenuation

    def set_centre(self, number: int, shown_v: float) -> None:
        """The voltage in the middle of the screen."""
        channel = self.channels[number]
        self.change_channel(number, vertical=replace(channel.vertical, centre_v=shown_v / channel.attenuation))

    def centre_v(self, number: int) -> float:
        """The voltage in the middle of the screen, as shown."""
        channel = self.channels[number]
        return channel.vertical.centre_v * channel.attenuation

    def set_probe(self, number: int, ratio: float) -> None:
        """The probe's factor; -224 where it cannot be set."""
        self.change_channel(number, attenuation=self.traits.probe_ratio(ratio))

    def set_span(self, span_s: float) -> None:
        """The record's length in time; the trigger stays where it was set."""
        span_s = self.traits.time_base_s(span_s / HORIZONTAL_DIVISIONS) * HORIZONTAL_DIVISIONS
        self._change_timing(span_s=span_s, pretrigger_s=self.position.pretrigger_s(span_s))

    def set_samples(self, samples: int) -> None:
        """Set the samples wanted; the highest sample rate is the limit. -224 for a length that cannot be set."""
        self._change_timing(samples=self.traits.lengths.settled(samples))

    def set_pretrigger(self, pretrigger_s: float) -> None:
        """From the first sample to the trigger."""
        self.place_trigger(Position("left", pretrigger_s))

    def place_trigger(self, position: Position) -> None:
        """Where the trigger lies in the record."""
        self.position = position
        self._change_timing(pretrigger_s=position.pretrigger_s(self.acquisition.timing.span_s))

    def _change_timing(self, **changes: float) -> None:
        self.acquisition.change(timing=replace(self.acquisition.timing, **changes))  # type: ignore[arg-type]

    def change_trigger(self, **changes: float | bool) -> None:
        """Change some of the trigger's settings."""
        self.acquisition.change(trigger=replace(self.acquisition.trigger, **changes))  # type: ignore[arg-type]

    def trigger_level_v(self) -> float:
        """As shown."""
        return self.acquisition.trigger.level_v * self._trigger_attenuation()

    def set_trigger_level(self, shown_v: float) -> None:
        """On the source's own scale."""
        self.change_trigger(level_v=shown_v / self._trigger_attenuation())

    def _trigger_attenuation(self) -> float:
        source = self.acquisition.trigger.source
        return 1.0 if source == EXTERNAL else self.channels[source].attenuation

    # Acquiring

    def arm(self, *, repeats: bool = False) -> None:
        """Begin to record."""
        timing = self.acquisition.timing
        if not 0 <= timing.pretrigger_s <= timing.span_s:
            raise ScpiError(-221, "the trigger lies outside the record")
        fewest = min(self._wanted(timing), int(timing.span_s * self.description.sample_rate))
        self.acquisition.timing = replace(timing, samples=max(fewest, 1))
        self._taken = {number: channel.vertical for number, channel in self.channels.items() if channel.displayed}
        self.acquisition.arm(repeats=repeats)

    def _wanted(self, timing: Timing) -> int:
        lengths = self.traits.lengths
        if not lengths.automatic:
            return timing.samples
        return lengths.following(min(timing.span_s * self.description.sample_rate, self.description.memory))

    @property
    def shows_running(self) -> bool:
        """Whether it says that a record is under way, which it does a little late."""
        return self.acquisition.has_been_armed_for(self.traits.state_after_s)

    @property
    def finished(self) -> bool:
        """Whether there is a whole record."""
        return self.acquisition.record is not None

    def record(self) -> Record:
        """The finished record; -230 where there is none."""
        if self.acquisition.record is None:
            raise ScpiError(-230, "no record")
        return self.acquisition.record

    def scaling(self, number: int, form: CodeFormat) -> Scaling:
        """What codes of a channel mean, in volts as shown."""
        vertical, attenuation = self._vertical_taken(number), self.channels[number].attenuation
        step_v = self.inputs.digitiser(number).step_v(vertical) * attenuation
        return scaling(form, self.description.bits, step_v, vertical.centre_v * attenuation)

    def data(self, number: int, form: CodeFormat, part: slice | None = None) -> bytes | str:
        """The record of a channel, or a part of it."""
        vertical, attenuation = self._vertical_taken(number), self.channels[number].attenuation
        codes = self._kept_codes(number, vertical)[part or slice(None)]
        step_v = self.inputs.digitiser(number).step_v(vertical) * attenuation
        return encode(codes, form, self.description.bits, step_v, vertical.centre_v * attenuation)

    def _kept_codes(self, number: int, vertical: Vertical) -> NDArray[np.int32]:
        key = (number, self.record().number)
        if self._digitised is None or self._digitised[:2] != key:
            self._digitised = (*key, self._codes(number, vertical))
        return self._digitised[2]

    def _codes(self, number: int, vertical: Vertical) -> NDArray[np.int32]:
        """Of a channel or, where a fault of the bench gives one for all, of that one."""
        one = self.inputs.one_channel
        if one is None or one not in self.channels:
            return self.inputs.codes(number, self.record(), vertical)
        return self.inputs.codes(one, self.record(), self._taken.get(one, self.channels[one].vertical))

    def _vertical_taken(self, number: int) -> Vertical:
        if number in self._taken:
            return self._taken[number]
        if self.acquisition.record is not None:
            raise ScpiError(-221, f"channel {number} was not shown when the record was taken")
        return self.channels[number].vertical
