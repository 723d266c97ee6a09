"""What an analysis must know besides the records: wiring, loads, settings, accuracies.

A context is stored beside the captures and rebuilt from them, so it holds only numbers, text, and maps and tuples of
those; `pydantic.TypeAdapter(BurstContext)` reads one back from JSON.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from benchctl.measure.signal.distortion import BAND_HZ
from benchctl.measure.uncertainty import Accuracy, LoadResistance


@dataclass(frozen=True, kw_only=True)
class IdleContext:
    """The bench while the amplifier idles.

    `zero_allowance`: signal -> by how much its zero may be off besides, which counts where two instruments are
    compared.
    `accuracy`: signal ("output A", "supply current", ...) -> the accuracies of its chain, each with its own error
    (oscilloscope, probe). `readings_accuracy`: reading ("supply_current", "supply_voltage", "heatsink") -> the same.
    `level_accuracy`: of the generator's level, in V. `frequency_accuracy`: its limit of error, relative.
    `senses_terminals`: the supply reads its voltage at the amplifier's terminals, by sense leads. `leads_ohm`: the most
    that both supply leads may have together; None where nobody has said so.
    """

    accuracy: Mapping[str, tuple[Accuracy, ...]] = field(default_factory=dict)
    readings_accuracy: Mapping[str, tuple[Accuracy, ...]] = field(default_factory=dict)
    level_accuracy: tuple[Accuracy, ...] = ()
    frequency_accuracy: float = 0.0
    zero_allowance: Mapping[str, float] = field(default_factory=dict)
    senses_terminals: bool = False
    leads_ohm: float | None = None


@dataclass(frozen=True, kw_only=True)
class ContinuousContext(IdleContext):
    """A steady tone of `frequency_hz` into `loads` (amplifier channel -> load).

    `halves`: channel that is a bridged pair -> its two outputs.
    `at_least`: channel -> why it did not reach the distortion bound at the level that a search found, which makes its
    power a bound. `level_u`: how well that level is known, as a relative standard uncertainty; 0 of a level that was
    set. `low_pass_hz`: up to where the outputs of a class D amplifier count, whose carrier is a figure of its own; None
    of other amplifiers.
    """

    frequency_hz: float
    loads: Mapping[str, LoadResistance]
    band_hz: float = BAND_HZ
    at_least: Mapping[str, str] = field(default_factory=dict)
    level_u: float = 0.0
    low_pass_hz: float | None = None
    halves: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class BurstContext(ContinuousContext):
    """Bursts of `cycles` cycles that start at the trigger and repeat every `every_s`; between them `low_level_ratio`
    times the level of the burst. With `phase_is_free` they begin anywhere in a cycle. `thd_n` is the bound that told
    clean from full drive; `at_least` and `level_u` hold at clean drive, `at_least_full` and `level_u_full` at full
    drive."""

    cycles: int
    every_s: float
    low_level_ratio: float
    thd_n: float = 0.01
    at_least_full: Mapping[str, str] = field(default_factory=dict)
    level_u_full: float = 0.0
    phase_is_free: bool = False
