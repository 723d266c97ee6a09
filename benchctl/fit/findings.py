"""Quantities and misfits in words."""

from __future__ import annotations

import math

from benchctl.fit.fitting import Misfit
from benchctl.fit.told import Quantity
from benchctl.measure.budget.words import rounded

_PREFIXES = ((1.0, ""), (1e-3, "m"), (1e-6, "u"))
_WITH_PREFIX = frozenset({"ohm", "F", "V", "A"})


def quantity_in_words(quantity: Quantity) -> str:
    """Value and uncertainty, to two digits of the uncertainty: 360.20 ± 0.67 mohm."""
    factor, prefix = _prefix(quantity)
    if quantity.unit == "1":
        return rounded(quantity.value, quantity.expanded_uncertainty)
    if quantity.unit == "%":
        factor = 0.01
    words = rounded(quantity.value / factor, quantity.expanded_uncertainty / factor)
    return f"{words} {prefix}{quantity.unit}"


def uncertainty_in_words(quantity: Quantity) -> str:
    """U alone, with the prefix that the value has: 0.67 mohm."""
    factor, prefix = (0.01, "") if quantity.unit == "%" else _prefix(quantity)
    unit = "" if quantity.unit == "1" else f" {prefix}{quantity.unit}"
    return f"{quantity.expanded_uncertainty / factor:.2g}{unit}"


def _prefix(quantity: Quantity) -> tuple[float, str]:
    if quantity.unit not in _WITH_PREFIX:
        return 1.0, ""
    size = abs(quantity.value)
    return next(((factor, prefix) for factor, prefix in _PREFIXES if size >= factor), _PREFIXES[-1])


def misfit_in_words(misfit: Misfit) -> str:
    """Which record, which signal, and how far off."""
    times = math.sqrt(misfit.mean_square)
    signal = misfit.signal.replace("output ", "voltage at output ", 1)
    return f"{signal} in {misfit.take.name}: {times:.2g} times its noise off the model ({misfit.take.file})"
