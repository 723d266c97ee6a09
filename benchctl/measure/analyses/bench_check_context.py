"""What the checks of a bench must know, each in its own state of the bench."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from benchctl.measure.analyses.context import IdleContext


@dataclass(frozen=True, kw_only=True)
class ColdContext(IdleContext):
    """Everything is off. `sensors`: the names of the temperature sensors; `air`: the one in the air, if any."""

    sensors: tuple[str, ...] = ()
    air: str = ""


@dataclass(frozen=True, kw_only=True)
class WarmingCheckContext(IdleContext):
    """The amplifier idles, and its heatsink warms by `expected_k` between the first and the last readings, by its file.

    `sensors`: the names of the temperature sensors.
    """

    expected_k: float
    sensors: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class PathsContext(IdleContext):
    """A low tone of `frequency_hz` and `level_v` V RMS, at all inputs or at one alone.

    `driven`: role of the capture -> the channels whose inputs have the signal. `gain`: volts at the output for a volt
    of the generator, by the amplifier file. `ratios`: channel -> the ratio of the probe at its output.
    `has_trigger`: the records began with the generator's sync, so that their phase can be told.
    """

    frequency_hz: float
    level_v: float
    gain: float
    driven: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    ratios: Mapping[str, float] = field(default_factory=dict)
    has_trigger: bool = True


@dataclass(frozen=True, kw_only=True)
class RelayCheck:
    """One relay of the load's bank: its number, the channel and the resistance that the bench file gives it."""

    relay: int
    channel: str
    nominal_ohm: float


@dataclass(frozen=True, kw_only=True)
class RelaysContext(IdleContext):
    """Each relay of the load's bank was closed alone under a low tone of `output_v` V RMS at the outputs.

    Readings of the supply current: "open, A driven" without a load, "relay 101, A driven" with one. `supply_v`: the
    supply's voltage. `outputs_v`: channel -> what its output was seen to give at this level, where it was seen.
    """

    relays: tuple[RelayCheck, ...]
    output_v: float
    supply_v: float
    each_alone: bool = True
    outputs_v: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class LoadsContext(IdleContext):
    """One load after the other at every output that is driven, under the same low tone.

    Readings of the supply current: "4 ohm, undriven" and "4 ohm, driven". `loads_ohm`: the load's name -> its nominal
    resistance; `outputs_v`: its name -> channel -> what the output gave. `supply_v`: the supply's voltage.
    """

    loads_ohm: Mapping[str, float]
    outputs_v: Mapping[str, Mapping[str, float]]
    supply_v: float


def open_reading(channel: str) -> str:
    """The name of the readings without a load, while this channel is driven; every channel where it is empty."""
    return f"open, {channel or 'all'} driven"


def relay_reading(relay: int, channel: str) -> str:
    """The name of the readings with a relay closed, while this channel is driven; every channel where it is empty."""
    return f"relay {relay}, {channel or 'all'} driven"


def undriven_reading(load: str) -> str:
    """The name of the readings with this load, while nothing is driven."""
    return f"{load}, undriven"


def driven_reading(load: str) -> str:
    """The name of the readings with this load, under the tone."""
    return f"{load}, driven"
