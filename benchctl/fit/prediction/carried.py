"""What the model carries: why a prediction is refused, in sentences, and what to be warned of."""

from __future__ import annotations

import math
from collections.abc import Iterator

from benchctl.fit.examination import Examination
from benchctl.fit.prediction.asked import Asked
from benchctl.quantity import render

LOWEST_HZ, HIGHEST_HZ = 500.0, 2e3
"""The model knows no ripple of the rails below, and nothing of the output filter above."""

RIPPLE = 10.0
"""Below so many times 1/(2 pi R C) of the rails their ripple counts (see the guide)."""

FARTHEST = 2.1
"""A load may be so many times less than the least measured, or more than the greatest: one step of usual loads."""

SAME = 0.01
"""Relative: supply voltages nearer than this are the same, and so are nominal loads."""


def reasons(found: Examination, asked: Asked) -> Iterator[str]:
    """Why this is not predicted; none where it is."""
    if found.fitted is None or found.no_fit:
        yield found.no_fit or "nothing was fitted"
        return
    for finding in found.findings:
        yield f"a prediction is of a sound amplifier, and the run shows a fault: {finding.sentence}"
    yield from _of_quantities(found, asked)
    yield from _of_frequency(found)
    yield from _of_load(found, asked)
    yield from _of_supply(found, asked)


def _of_quantities(found: Examination, asked: Asked) -> Iterator[str]:
    untold = {each.name: each for each in found.quantities if each.untold}
    needed = ["headroom", "rail_stiffness", "input_ratio", "gain"]
    needed += ["reservoir"] if asked.bursts else []
    for name in needed:
        if name in untold:
            yield f"this run does not tell the {untold[name].words}: {untold[name].untold}"
    if "output_resistance" in untold and not _is_measured(found, asked.load_ohm) and len(_loads(found)) < 2:
        yield (
            "one load does not tell the resistance of each output, which counts in another load; "
            "measure into a second load"
        )


def _of_frequency(found: Examination) -> Iterator[str]:
    for frequency_hz in sorted({take.frequency_hz for take in found.run.takes if take.shape != "rest"}):
        if not LOWEST_HZ <= frequency_hz <= HIGHEST_HZ:
            yield (
                f"the run has tones of {render(frequency_hz, 'Hz')}, and the model holds from "
                f"{render(LOWEST_HZ, 'Hz')} to {render(HIGHEST_HZ, 'Hz')}"
            )
        told = {each.name: each.value for each in found.quantities if each.is_told}
        if "rail_stiffness" in told and "reservoir" in told:
            least_hz = RIPPLE / (2.0 * math.pi * told["rail_stiffness"] * told["reservoir"])
            if frequency_hz < least_hz:
                yield f"at {render(frequency_hz, 'Hz')} these rails ripple; the model holds from {least_hz:.0f} Hz on"


def _of_load(found: Examination, asked: Asked) -> Iterator[str]:
    least_ohm = found.run.amplifier.minimum_load_ohm
    if asked.load_ohm < least_ohm * (1.0 - SAME):
        yield f"{render(asked.load_ohm, 'ohm')} is below the amplifier's minimum load of {render(least_ohm, 'ohm')}"
    loads = _loads(found)
    if loads and not min(loads) / FARTHEST <= asked.load_ohm <= max(loads) * FARTHEST:
        yield (
            f"{render(asked.load_ohm, 'ohm')} is too far from the loads that were measured; from these the model "
            f"carries from {render(min(loads) / FARTHEST, 'ohm', digits=3)} to "
            f"{render(max(loads) * FARTHEST, 'ohm', digits=3)}"
        )


def _of_supply(found: Examination, asked: Asked) -> Iterator[str]:
    voltages = sorted({take.supply_v for take in found.run.takes if take.shape != "rest"})
    if voltages and not voltages[0] * (1.0 - SAME) <= asked.supply_v <= voltages[-1] * (1.0 + SAME):
        measured = " and ".join(render(volts, "V") for volts in (voltages[0], voltages[-1])[: len(voltages)])
        yield (
            f"a supply of {render(asked.supply_v, 'V')} lies outside what was measured ({measured}); measure a clean "
            "level and continuous power at a second voltage beyond it"
        )


def warnings(found: Examination, asked: Asked, current_a: float) -> Iterator[str]:
    """What a person must know of a prediction; `current_a`: the highest peak of output current that it has."""
    yield "A predicted value is no measurement."
    if found.misfits:
        count = len(found.misfits)
        yield f"The model does not explain {count} {'part' if count == 1 else 'parts'} of the run within chance."
    seen_a = _highest_seen_a(found)
    if current_a > seen_a:
        yield (
            f"It has peaks of {current_a:.0f} A at an output; this run has shown {seen_a:.0f} A at the most. A current "
            "limit or a protection between the two was not seen, and may act first."
        )
    else:
        yield "A protection that depends on heat or on the load may act first."
    untold = [each for each in found.quantities if each.name == "output_resistance" and each.untold]
    if untold and not _is_measured(found, asked.load_ohm):
        yield (
            "The run does not tell the resistance of each output. It is taken as 20 mohm within a factor of three, as "
            "is usual, and U holds that."
        )
    hottest_c = [take.heatsink_c for take in found.run.takes if take.heatsink_c is not None]
    if hottest_c:
        yield f"It holds for an amplifier as warm as in this run, {min(hottest_c):.0f} to {max(hottest_c):.0f} degC."
    if asked.load_ohm < min(_loads(found), default=0.0) * (1.0 - SAME):
        yield "The load is lower than any that was measured: supply, fuse and devices carry more than they did."


def _highest_seen_a(found: Examination) -> float:
    return max(
        (
            float(abs(take.items[f"output {channel}"].values).max()) / load.measured_ohm
            for take in found.run.takes
            for channel, load in take.loads.items()
            if f"output {channel}" in take.items
        ),
        default=0.0,
    )


def _loads(found: Examination) -> set[float]:
    return {load.nominal_ohm for take in found.run.takes if take.shape != "rest" for load in take.loads.values()}


def _is_measured(found: Examination, load_ohm: float) -> bool:
    return any(abs(load_ohm - each) < SAME * each for each in _loads(found))
