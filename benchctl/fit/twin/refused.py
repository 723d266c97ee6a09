"""What the fit of an earlier run does not carry to another one, in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.amplifier_file.fitted import AmplifierFitted
from benchctl.fit.prediction.asked import THD_LIMIT
from benchctl.fit.prediction.carried import FARTHEST, HIGHEST_HZ, LOWEST_HZ, RIPPLE, SAME
from benchctl.fit.twin.surroundings import Surroundings
from benchctl.quantity import render

NEEDED = {
    "headroom": "headroom",
    "rail_stiffness": "source resistance of the rails",
    "input_ratio": "amperes of supply for an ampere of rail",
}


def reasons(amplifier: Amplifier, fitted: AmplifierFitted, at: Surroundings, *, bursts: bool) -> Iterator[str]:
    """Why a clean power is not predicted there; none where it is."""
    needed = NEEDED | ({"reservoir": "reservoir"} if bursts else {})
    missing = [words for key, words in needed.items() if getattr(fitted, key) is None]
    missing += [] if set(fitted.gain) >= set(amplifier.channels) else ["gain of each channel"]
    if missing:
        yield f"the fit does not tell the {' and the '.join(missing)}"
    if set(at.driven) != set(amplifier.channels):
        yield f"only {' and '.join(at.driven) or 'nothing'} was driven, and a prediction is of all channels driven"
    if at.thd_limit is not None and not math.isclose(at.thd_limit, THD_LIMIT, rel_tol=SAME):
        yield f"clean levels were searched for {render(at.thd_limit, '1')}, and predicted ones are for 1 %"
    yield from _of_tone(fitted, at)
    yield from _of_load(fitted, at)
    yield from of_supply(fitted, at)


def _of_tone(fitted: AmplifierFitted, at: Surroundings) -> Iterator[str]:
    if at.frequency_hz is None or not fitted.tones:
        yield "it is not on record with which tones the fitted run was driven; fit it again and write it anew"
        return
    for frequency_hz in (at.frequency_hz, *fitted.tones):
        if not LOWEST_HZ <= frequency_hz <= HIGHEST_HZ:
            yield (
                f"the model holds from {render(LOWEST_HZ, 'Hz')} to {render(HIGHEST_HZ, 'Hz')}, not at "
                f"{render(frequency_hz, 'Hz')}"
            )
    if fitted.rail_stiffness is not None and fitted.reservoir is not None:
        constant_s = fitted.rail_stiffness.value_ohm * fitted.reservoir.value_f
        if at.frequency_hz < RIPPLE / (2.0 * math.pi * constant_s):
            yield f"at {render(at.frequency_hz, 'Hz')} these rails ripple more than the model knows"


def _of_load(fitted: AmplifierFitted, at: Surroundings) -> Iterator[str]:
    if at.load_ohm is None or not fitted.loads:
        yield "it is not on record into which loads the fitted run drove the amplifier"
        return
    load_ohm, least, greatest = at.load_ohm, min(fitted.loads), max(fitted.loads)
    if not least / FARTHEST <= load_ohm <= greatest * FARTHEST:
        yield f"{render(load_ohm, 'ohm')} is too far from the loads of the fitted run"
    if fitted.output_resistance is None and len(fitted.loads) < 2 and not is_of_the_fit(fitted, load_ohm):
        yield "the fit does not tell the resistance of each output, which counts in another load"


def of_supply(fitted: AmplifierFitted, at: Surroundings) -> Iterator[str]:
    """Voltages beyond those that the fitted run had."""
    known = fitted.supply_voltages
    if not known:
        yield "it is not on record at which supply voltages the fitted run drove the amplifier"
    elif not min(known) * (1.0 - SAME) <= at.supply_set_v <= max(known) * (1.0 + SAME):
        span = " to ".join(render(volts, "V") for volts in sorted({min(known), max(known)}))
        yield f"at {render(at.supply_set_v, 'V')} the supply is outside what the fitted run had, {span}"


def is_of_the_fit(fitted: AmplifierFitted, load_ohm: float) -> bool:
    """Whether the fitted run has driven the amplifier into this load."""
    return any(math.isclose(load_ohm, each, rel_tol=SAME) for each in fitted.loads)
