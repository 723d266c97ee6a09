"""Closed forms from which the fit begins.

======================  ==================================================================================
gain                    slope of the output over what is asked for, where it is far below clipping
path resistance         fall of the voltage at the terminals over rise of the supply's current
n/eta                   rise of the supply's current over rise of the load on the rails
headroom, Reff          a straight line of clip levels over the load on the rails, first and last cycles
C                       time constant of the supply's current after a burst, or of the fall within it, over Reff
R                       Reff without what the supply's path adds, Rp n²/eta
======================  ==================================================================================
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import NamedTuple

import numpy as np

from benchctl.errors import MeasurementError
from benchctl.fit.model.physics import Kind
from benchctl.fit.reading.items import CURRENT, METER_CURRENT, VOLTAGE, Take
from benchctl.measure.signal.record import OUTPUT

_FAR_BELOW = 0.5
"""Of the highest value: below this part a sine is not clipped at any drive that a run uses."""

_FEWEST = 3
"""Values that tell a slope and the dc beneath it."""

_RESERVOIR_S = 0.01
"""Time constant of a reservoir where no burst tells it (common practice)."""

_HELD_S = 2e-4
"""The same of rails that are held (common practice)."""

_RESISTANCE_OHM = 0.3
_PATH_OHM = 3e-3
_OUTPUT_OHM = 0.02
_SATURATION_V = 1.5
_USUAL_RATIO = 3.0


class Clip(NamedTuple):
    """The highest output voltage of a cycle, for a volt inside, and what load was on the rails before."""

    limit_v: float
    load_a: float
    after_s: float
    lasting: bool
    is_late: bool = False


def starts(takes: Sequence[Take], channels: Sequence[str], kind: Kind, nominal_v: float) -> dict[str, float]:
    """A value for each parameter that nothing else limits.

    Raises:
        MeasurementError: no burst and no steady tone was recorded, so that nothing can be fitted.
    """
    tones = [take for take in takes if take.shape != "rest"]
    rests = [take for take in takes if take.shape == "rest"]
    if not tones or not rests:
        raise MeasurementError(
            "the run has no idle with a burst or a steady tone, so there is nothing to fit",
            advice="Fit a run of 'burst_and_continuous' or 'before_and_after'.",
        )
    idle_a, idle_v = _current(rests[0]), _voltage(rests[0])
    path_ohm = max(_path(tones, idle_a, idle_v), 1e-4)
    found = {f"gain {channel}": _gain(tones, channel) for channel in channels}
    clips = [clip for take in tones for clip in _clips(take, channels, kind)]
    headroom_v, fall_ohm = _line(clips, kind)
    input_ratio = _input_ratio(tones, channels, kind, idle_a, headroom_v)
    at_nominal = nominal_v / float(np.mean([take.supply_v for take in tones]))
    reflected_ohm = 0.0 if kind.regulated else path_ohm * input_ratio * headroom_v / nominal_v
    stiffness_ohm = max(fall_ohm - reflected_ohm, fall_ohm / 5.0)
    constant_s = _HELD_S if kind.regulated else recovery_s(tones) or _time_constant(clips, headroom_v, fall_ohm)
    return found | {
        "idle_a": max(idle_a, 1e-3),
        "path_ohm": path_ohm,
        "headroom_v": headroom_v * (1.0 if kind.regulated else at_nominal),
        "input_ratio": input_ratio,
        "efficiency": headroom_v / nominal_v / input_ratio,
        "stiffness_ohm": stiffness_ohm,
        "reservoir_f": constant_s / fall_ohm,
    }


def _current(take: Take) -> float:
    for signal in (CURRENT, METER_CURRENT):
        if signal in take.items:
            return float(take.items[signal].values[-1])
    raise MeasurementError(f"{take.name}: nobody read the supply's current, which the fit needs")


def _voltage(take: Take) -> float:
    return float(take.items[VOLTAGE].values[-1]) if VOLTAGE in take.items else take.supply_v


def _path(tones: Sequence[Take], idle_a: float, idle_v: float) -> float:
    found = [
        (idle_v - _voltage(take)) / (_current(take) - idle_a)
        for take in tones
        if take.shape == "steady" and VOLTAGE in take.items and _current(take) > 1.5 * idle_a
    ]
    return float(np.median(found)) if found else _PATH_OHM


def _gain(tones: Sequence[Take], channel: str) -> float:
    found = [gain for take in tones if (gain := gain_of_take(take, channel)) is not None]
    if not found or not np.median(found) > 0.0:
        raise MeasurementError(f"channel {channel} gave nothing under a tone, so its gain cannot be fitted")
    return float(np.median(found))


def gain_of_take(take: Take, channel: str) -> float | None:
    """Volts inside an output for a volt at the input, where the sine is far below clipping and whatever dc it
    stands on; None where it was not driven, has no load or gives nothing."""
    item = take.items.get(f"{OUTPUT}{channel}")
    if item is None or channel not in take.driven or channel not in take.loads:
        return None
    times_s = take.instants.nodes_s[take.instants.sampled]
    sine = math.sqrt(2.0) * take.level_v * np.sin(2 * np.pi * take.frequency_hz * times_s + take.phases[channel])
    centred = item.values - (item.values.max() + item.values.min()) / 2.0
    below = np.abs(centred) < _FAR_BELOW * np.abs(centred).max()
    if below.sum() < _FEWEST:
        return None
    from_mean = sine[below] - sine[below].mean()
    share = take.loads[channel].measured_ohm / (take.loads[channel].measured_ohm + _OUTPUT_OHM)
    return float(item.values[below] @ from_mean / (from_mean @ from_mean)) / share


def _clips(take: Take, channels: Sequence[str], kind: Kind) -> Iterator[Clip]:
    """First and last cycle of a burst, or a steady tone."""
    times_s = take.instants.nodes_s[take.instants.sampled]
    period_s = 1.0 / take.frequency_hz
    for channel in channels:
        item = take.items.get(f"{OUTPUT}{channel}")
        if item is None or channel not in take.loads:
            continue
        ohm = take.loads[channel].measured_ohm
        inside = (ohm + _OUTPUT_OHM) / ohm / kind.halves
        load_a = _load(take, channels, kind)
        if take.shape == "steady":
            yield Clip(float(np.abs(item.values).max()) * inside, load_a, math.inf, lasting=True)
            continue
        first = times_s < period_s / 2
        yield Clip(float(np.abs(item.values[first]).max()) * inside, load_a, period_s / 4.0, lasting=False)
        if take.cycles > 2:
            last = times_s > (take.cycles - 1) * period_s
            since_s = (take.cycles - 0.5) * period_s
            yield Clip(float(np.abs(item.values[last]).max()) * inside, load_a, since_s, lasting=False, is_late=True)


def _load(take: Take, channels: Sequence[str], kind: Kind) -> float:
    """On the rails, both taken as one: the mean size of the output currents, or for class D their power over a rail."""
    found = 0.0
    for channel in channels:
        item = take.items.get(f"{OUTPUT}{channel}")
        if item is None or channel not in take.loads:
            continue
        ohm = take.loads[channel].measured_ohm
        if kind.switching:
            rail_v = float(np.abs(item.values).max()) / kind.halves + _SATURATION_V
            found += float((item.values**2).mean()) / ohm / rail_v
        else:
            found += kind.halves * float(np.abs(item.values).mean()) / ohm
    return found


def _line(clips: Sequence[Clip], kind: Kind) -> tuple[float, float]:
    """Headroom without load, and by how much an ampere of load lowers it for good."""
    lasting = [clip for clip in clips if clip.lasting]
    if not lasting:
        lasting = sorted(clips, key=lambda clip: clip.after_s)[-2:]
    fresh = [clip for clip in clips if not clip.lasting and clip.after_s < 1e-2] or lasting
    top_v = max(clip.limit_v for clip in fresh)
    falls = [(top_v - clip.limit_v) / clip.load_a for clip in lasting if clip.load_a > 0.0]
    fall_ohm = float(np.median(falls)) if falls else _RESISTANCE_OHM
    return top_v * 1.01, max(fall_ohm, 0.005 if kind.switching else 0.01)


def _input_ratio(tones: Sequence[Take], channels: Sequence[str], kind: Kind, idle_a: float, headroom_v: float) -> float:
    found = [
        (_current(take) - idle_a) / load_a
        for take in tones
        if take.shape == "steady" and (load_a := _load(take, channels, kind)) > 0.0
    ]
    usual = headroom_v / tones[0].supply_v * 1.1 if tones else _USUAL_RATIO
    ratio = float(np.median(found)) if found else usual
    return ratio if ratio > 0.0 else usual


def recovery_s(tones: Sequence[Take]) -> float | None:
    """The time constant with which the supply's current falls after a burst; None where no record shows it.

    Of a charge that flows off exponentially the part exp(-t/tau) is left after a time t, here that of the first bin.
    """
    found = []
    for take in tones:
        edges_s = take.instants.after_s
        if take.shape != "burst" or CURRENT not in take.items or len(edges_s) < 3:
            continue
        values = take.items[CURRENT].values
        charges = (values[1 - len(edges_s) :] - values[0]) * np.diff(edges_s)
        left = float(charges[1:].sum()) / float(charges.sum()) if charges.sum() > 0.0 else 0.0
        if 0.0 < left < 1.0:
            found.append(-float(edges_s[1]) / math.log(left))
    return float(np.median(found)) if found else None


def _time_constant(clips: Sequence[Clip], headroom_v: float, fall_ohm: float) -> float:
    found = []
    for clip in clips:
        whole_v = fall_ohm * clip.load_a
        part = (headroom_v - clip.limit_v) / whole_v if whole_v > 0.0 else 0.0
        if clip.is_late and not clip.lasting and 0.05 < part < 0.9:
            found.append(-clip.after_s / math.log1p(-part))
    return float(np.median(found)) if found else _RESERVOIR_S
