"""What the model of the rails itself may be off by, and all that is off with it.

Source resistance and reservoir stand for whatever converter, leads and supply do. What they are off moves every other
parameter that the records do not tell apart from them, so it belongs in the covariance, and not only in the two.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from benchctl.fit.fitting import Fitted
from benchctl.fit.parameters import Samples
from benchctl.fit.reading.items import Take
from benchctl.measure.signal.record import OUTPUT

RAILS = ("stiffness_ohm", "reservoir_f")

STEPS, STEPS_OF_CLASS_D = 1.5e-3, 4e-3
"""Part of stiffness and reservoir that steps of the model and what it leaves out may make; a standard uncertainty.
Fits of dry runs scatter by so much where noise and instruments explain less."""

COARSE = 2.0
"""Class D: so many steps of the oscilloscope's converter, over the swing, stiffness and reservoir may be off besides; a
standard uncertainty, set after trials on simulated benches. Without the carrier its tops move little from step to
step."""

GIVING, GIVING_OF_CLASS_D = 0.3, 0.5
"""Part of what a supply that gives way for a moment changes of how fast the rails move, as a standard uncertainty of
source resistance and reservoir: one inductance and one time constant stand for any supply. Set after trials on
simulated benches."""


def with_allowance(fitted: Fitted) -> Samples:
    """The covariance of all coordinates, with what the model of the rails may be off by.

    The two rails are off apart from each other. Each other parameter follows as the records tie it to them: by its
    regression on them (Anderson, An Introduction to Multivariate Statistical Analysis, 2.5). Held rails move too little
    to be off.
    """
    covariance = fitted.solution.covariance
    if fitted.kind.regulated:
        return covariance
    rails = [fitted.parameters.place(name) for name in RAILS]
    follows = np.linalg.solve(covariance[np.ix_(rails, rails)], covariance[rails]).T
    off = follows * [_off(fitted) / fitted.parameters.each[place].spread for place in rails]
    return np.asarray(covariance + off @ off.T)


def _off(fitted: Fitted) -> float:
    """Part of stiffness and reservoir that the model may be off by, as a standard uncertainty."""
    if not fitted.kind.switching:
        return math.hypot(STEPS, GIVING * _hurry(fitted))
    return math.hypot(STEPS_OF_CLASS_D, GIVING_OF_CLASS_D * _hurry(fitted), COARSE * coarsest_step(fitted.run.takes))


def _hurry(fitted: Fitted) -> float:
    """By which part the rails move faster for a supply that gives way."""
    values = fitted.parameters.values(fitted.solution.coordinates)
    return float(fitted.forward.physics([0], values[None]).hurry(fitted.kind)[0])


def coarsest_step(takes: Sequence[Take]) -> float:
    """A step of the oscilloscope's converter as a part of the swing, of the record where it is coarsest; 0 without one.

    Outputs that play at a level that was searched count, and of one record the finer; a step that is only thought of
    has no record.
    """
    found = 0.0
    for take in takes:
        if take.file and take.is_searched and take.shape != "rest":
            outputs = [item for signal, item in take.items.items() if signal.startswith(OUTPUT)]
            # A silent output, which is all noise, says nothing of how coarse a record is.
            parts = [item.scale.step / float(np.abs(item.values).max()) for item in outputs if item.values.any()]
            found = max(found, min(parts, default=0.0))
    return found
