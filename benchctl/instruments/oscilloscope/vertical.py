"""The vertical ranges that an oscilloscope is set to: few enough that the zero of each can be taken beforehand."""

from __future__ import annotations

import math

# A range is chosen so that the expected peak fills no more of it than this: room for surprise, and codes to spare.
FILL = 0.85
# Smallest vertical setting asked for, V per division at the input.
FINEST_V_PER_DIVISION = 1e-3
# The settings of a decade: the series R5 of ISO 3.
_SERIES = (1.0, 1.6, 2.5, 4.0, 6.3, 10.0)
# A setting that is so little finer than wanted will do.
_ROUNDING = 1e-6


def setting_v(wanted_v: float) -> float:
    """The next setting that is no finer than wanted, V per division."""
    wanted_v = max(wanted_v, FINEST_V_PER_DIVISION) * (1.0 - _ROUNDING)
    decade = math.floor(math.log10(wanted_v))
    settings = (float(f"{mantissa}e{decade}") for mantissa in _SERIES)
    return next(setting for setting in settings if setting >= wanted_v)


def ranges_v(widest_v: float) -> tuple[float, ...]:
    """Every setting from the finest to the one that is no finer than `widest_v`, V per division."""
    settings = [FINEST_V_PER_DIVISION]
    while settings[-1] < widest_v * (1.0 - _ROUNDING):
        settings.append(setting_v(settings[-1] * (1.0 + 2 * _ROUNDING)))
    return tuple(settings)
