"""What a look at the instruments must know, taken before the amplifier is driven hard."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from benchctl.measure.analyses.context import IdleContext


@dataclass(frozen=True, kw_only=True)
class LookContext(IdleContext):
    """The amplifier at idle or, where there are `tones_hz` (role of the capture -> Hz), under a sine of `level_v` V
    RMS.

    `gain`: volts at the output for a volt of the generator, as the amplifier file has it; None where a hand has moved
    the controls since. `ratios`: channel -> the ratio of the probe at its output. `driven`: the channels whose inputs
    had the tone; all that were recorded where it is empty. `alone`: role of a capture -> the only channel whose input
    had a tone of `alone_hz`. `upright`: the channels whose polarity the first tone tells.
    """

    tones_hz: Mapping[str, float] = field(default_factory=dict)
    level_v: float | None = None
    gain: float | None = None
    ratios: Mapping[str, float] = field(default_factory=dict)
    driven: tuple[str, ...] = ()
    alone: Mapping[str, str] = field(default_factory=dict)
    alone_hz: float | None = None
    upright: tuple[str, ...] = ()
