"""What a difference between two instruments most likely is, told from its size: a load setting halves or doubles, a
probe's switch makes ten times or a tenth."""

from __future__ import annotations

import math
from collections.abc import Sequence

# A ratio within so much of a usual one is taken for it.
_NEAR = 10.0 ** (1.5 / 20.0)
# What shows less than this of its signal shows none of it.
_SILENT = 0.005

_LOAD_SETTING = (
    "Most likely the generator is set for a load of 50 ohm while its driver file takes it for high impedance, or the "
    "reverse: its display then shows {half} of what it gives. Set the output for high impedance ('high Z'), or say "
    "'prepare' and the display's load in the driver file"
)
_PROBE = (
    "Most likely the probe is switched to 1:{true:g} while the bench file says 1:{said:g}. Look at the probe's switch, "
    "and at the oscilloscope's own probe setting, which must be 1:1"
)
_GAIN = (
    "Most likely a gain control is not where the amplifier file's gain belongs to. Look at the controls, and at the "
    "generator's and the probe's settings"
)
_DEAD = (
    "Most likely nothing reaches this output: a plug that is out, an input relay that does not close, a probe that is "
    "off, or a channel that is muted or dead. Look at plug, probe and protection light, in this order"
)


def cause_of_ratio(ratio: float, probe_ratio: float, others: Sequence[float] = ()) -> str:
    """What makes an output read so many times what it should.

    Args:
        ratio: the voltage seen over the one expected; of the RMS, so not below 0.
        probe_ratio: of this output's probe, by the bench file.
        others: the same ratio at the other outputs; a generator's setting acts on all of them.
    """
    if ratio < _SILENT:
        return _DEAD
    is_common = all(_is_near(ratio, each) for each in others if each >= _SILENT)
    if is_common and (_is_near(ratio, 2.0) or _is_near(ratio, 0.5)):
        return _LOAD_SETTING.format(half="half" if ratio > 1.0 else "twice")
    for true in _other_settings(probe_ratio):
        if _is_near(ratio, probe_ratio / true):
            return _PROBE.format(true=true, said=probe_ratio)
    return _GAIN


def _other_settings(ratio: float) -> list[float]:
    """The ratios that a probe of this one may have instead: those of its switch, and a plain lead."""
    return [each for each in (1.0, ratio / 10.0, ratio * 10.0) if each >= 1.0 and not _is_near(each, ratio)]


def _is_near(one: float, other: float) -> bool:
    return one > 0.0 and other > 0.0 and abs(math.log(one / other)) < math.log(_NEAR)
