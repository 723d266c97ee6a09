"""A fit held against the amplifier file: what its rated power asks of the rails, and what energy allows."""

from __future__ import annotations

import math
from collections.abc import Iterator

from benchctl.fit.diagnosis.advice import ADVICE
from benchctl.fit.diagnosis.named import Named
from benchctl.fit.examination import Examination
from benchctl.fit.findings import quantity_in_words
from benchctl.fit.fitting import kind_of
from benchctl.fit.told import Quantity
from benchctl.quantity import render

AGAINST = ("the amplifier file",)


def off_plate(found: Examination) -> Iterator[Named]:
    """What cannot be so, or cannot be sound, by the amplifier file alone."""
    told = {each.name: each for each in found.quantities if each.is_told and not each.channel}
    if "headroom" in told:
        yield from _too_low(found, told["headroom"])
    if "headroom" in told and "input_ratio" in told:
        yield from _more_out_than_in(found, told["headroom"], told["input_ratio"])


def _too_low(found: Examination, headroom: Quantity) -> Iterator[Named]:
    """Headroom without load that is less than the peak of rated power."""
    amplifier = found.run.amplifier
    halves = kind_of(amplifier).halves
    asked_v, load_ohm = max(
        (math.sqrt(2.0 * rating.power_w * rating.load_ohm) / halves, rating.load_ohm) for rating in amplifier.rated
    )
    short_v = asked_v - headroom.value
    if short_v > headroom.expanded_uncertainty:
        yield Named(
            "headroom",
            "",
            f"{headroom.words}: {quantity_in_words(headroom)}, less than the {render(asked_v, 'V', digits=3)} that "
            f"rated power into {render(load_ohm, 'ohm')} asks for",
            short_v / headroom.expanded_uncertainty,
            AGAINST,
            (),
            *ADVICE["headroom"],
        )


def _more_out_than_in(found: Examination, headroom: Quantity, ratio: Quantity) -> Iterator[Named]:
    """Rail over supply voltage is at most n/eta, or the converter gives more than it takes."""
    nominal_v = found.run.amplifier.supply.nominal_v
    least = headroom.value / nominal_v
    u = math.hypot(headroom.expanded_uncertainty / nominal_v, ratio.expanded_uncertainty)
    if least - ratio.value > u:
        yield Named(
            "impossible",
            "",
            f"the rails are at least {least:.3g} times the supply voltage, and yet an ampere of rail takes only "
            f"{quantity_in_words(ratio)} amperes of supply: a current, a voltage or a load is measured wrong",
            (least - ratio.value) / u,
            AGAINST,
            (),
            *ADVICE["impossible"],
        )
