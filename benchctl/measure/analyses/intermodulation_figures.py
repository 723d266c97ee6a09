"""Intermodulation of two tones: each figure by its own definition, because definitions differ by up to a factor of two.

Modulation distortion (a low tone, and a high one of a quarter of it): IEC 60268-3:2013, 14.12.7, adds the sidebands of
one order arithmetically and divides by the output at the high tone. Its root-sum-square over the same tone is another
number, the one that analysers after SMPTE RP 120 show; of pure second order it is 0.707 of the first. Difference
frequency distortion (two equal tones): IEC 60268-3:2013, 14.12.8, divides by the sum of both tones.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.analyses.distortion_figures import converters_distortion
from benchctl.measure.budget.figure import Figure, figure_of, from_capture, u_to_combine
from benchctl.measure.budget.meters import Readings
from benchctl.measure.shapes.two_tones import TwoTones, two_tones
from benchctl.measure.signal.record import OUTPUT, Capture, Trace
from benchctl.measure.uncertainty import COVERAGE_FACTOR, Accuracies, measured, rectangular

INTERMODULATION = "intermodulation"
Method = Literal["modulation", "difference"]
# A bend of second or third order that makes a distortion d of a sine makes up to so many times d of two tones with the
# same peak: 4 A1 / P = 3.2 and 6 (A1 / P)^2 = 3.8 for 4 to 1, 1 / 2 and 3 / 4 for 1 to 1 (from the angle sums).
_OF_A_SINE: Mapping[Method, float] = {"modulation": 4.0, "difference": 0.75}
# The bench's own nearer to what is measured than this makes it a bound.
_CLEAR = 3.0
# A product below so many times what is found beside it is none that is seen.
_SEEN = 3.0


@dataclass(frozen=True, kw_only=True)
class IntermodulationContext(IdleContext):
    """Two tones, the lower first, by the method "modulation" (4 to 1) or "difference" (1 to 1).

    `generator_distortion`: what the generator's sine has at most.
    """

    method: Method
    tones_hz: tuple[float, float]
    generator_distortion: float = 0.0


@dataclass(frozen=True)
class _Definition:
    """A figure: the products that it adds, how, and whether over the sum of both tones or over the higher alone."""

    name: str
    orders: tuple[int, ...]
    in_squares: bool = False
    over_both: bool = False


_OF: Mapping[Method, tuple[_Definition, ...]] = {
    "modulation": (
        _Definition("modulation_distortion_2", (2,)),
        _Definition("modulation_distortion_3", (3,)),
        _Definition("modulation_distortion_rss", (2, 3), in_squares=True),
    ),
    "difference": (
        _Definition("difference_distortion_2", (2,), over_both=True),
        _Definition("difference_distortion_3", (3,), over_both=True),
    ),
}


def products_hz(method: Method, tones_hz: tuple[float, float], order: int) -> tuple[float, ...]:
    """The frequencies of the products of an order, 2 or 3, that a method counts."""
    low, high = tones_hz
    if method == "modulation":
        return (high - (order - 1) * low, high + (order - 1) * low)
    return (high - low,) if order == 2 else (2.0 * low - high, 2.0 * high - low)


def all_products_hz(method: Method, tones_hz: tuple[float, float]) -> tuple[float, ...]:
    """Of both orders."""
    return (*products_hz(method, tones_hz, 2), *products_hz(method, tones_hz, 3))


def intermodulation(
    captures: Mapping[str, Capture], _readings: Readings, context: IntermodulationContext
) -> list[Figure]:
    """Capture "intermodulation" of all outputs.

    Gives modulation_distortion_2, _3 and _rss, or difference_distortion_2 and _3, per channel: "at most" where a
    product is no more than what is found beside it.

    Raises:
        MeasurementError: the record is missing or cannot tell the products apart.
    """
    if INTERMODULATION not in captures:
        raise MeasurementError("no capture of the two tones was taken")
    capture = captures[INTERMODULATION]
    products = all_products_hz(context.method, context.tones_hz)
    figures: list[Figure] = []
    for channel in capture.channels:
        values = capture.trace(OUTPUT + channel).values()
        found = two_tones(values, capture.interval_s, context.tones_hz, products)
        own = _of_bench(capture.trace(OUTPUT + channel), context.accuracy.get(OUTPUT + channel, ()), found, context)
        figures += [_beside(own, _figure(each, found, channel, context)) for each in _OF[context.method]]
    return from_capture(figures, capture.name)


def _of_bench(trace: Trace, chain: Accuracies, found: TwoTones, context: IntermodulationContext) -> float:
    """What generator and oscilloscope may make of two tones by themselves."""
    linearity = sum(accuracy.linearity for accuracy in chain)
    sine = context.generator_distortion + converters_distortion(trace, sum(found.tones), linearity)
    return _OF_A_SINE[context.method] * sine


def _beside(own: float, figure: Figure) -> Figure:
    """A figure, or its bound where the bench's own intermodulation may be much of it: the two add by phase."""
    if figure.bound:
        return replace(figure, value=figure.value + own)
    if figure.value >= _CLEAR * own:
        expanded = COVERAGE_FACTOR * float(rectangular(0.0, own).std_dev)
        return replace(figure, expanded_uncertainty=math.hypot(u_to_combine(figure), expanded))
    reason = "generator and oscilloscope may have much of it; give the generator's `distortion` if it is less"
    return Figure(figure.name, figure.value + own, "1", channel=figure.channel, bound="at most", bound_reason=reason)


def _figure(definition: _Definition, found: TwoTones, channel: str, context: IntermodulationContext) -> Figure:
    over = sum(found.tones) if definition.over_both else found.tones[1]
    wanted = [
        frequency_hz
        for order in definition.orders
        for frequency_hz in products_hz(context.method, context.tones_hz, order)
    ]
    amplitudes = [found.products[frequency_hz] for frequency_hz in wanted]
    seen = [amplitude for amplitude in amplitudes if amplitude > _SEEN * found.floor]
    highest = [
        amplitude if amplitude in seen else amplitude + COVERAGE_FACTOR * found.floor for amplitude in amplitudes
    ]
    if len(seen) < len(amplitudes) and not _is_settled(definition, seen, highest):
        value = _sum(highest, in_squares=definition.in_squares) / over
        reason = "a product is no more than what is found beside it"
        return Figure(definition.name, value, "1", channel=channel, bound="at most", bound_reason=reason)
    value, own = _sum(amplitudes, in_squares=definition.in_squares), _own(amplitudes, found.floor, definition)
    return figure_of(definition.name, measured(value / over, own / over), "1", channel)


def _is_settled(definition: _Definition, seen: Sequence[float], highest: Sequence[float]) -> bool:
    """Whether products that are not seen could add no more than a tenth."""
    if not seen:
        return False
    with_them = _sum(highest, in_squares=definition.in_squares)
    return with_them <= 1.1 * _sum(seen, in_squares=definition.in_squares)


def _sum(amplitudes: Sequence[float], *, in_squares: bool) -> float:
    return math.hypot(*amplitudes) if in_squares else sum(amplitudes)


def _own(amplitudes: Sequence[float], floor: float, definition: _Definition) -> float:
    """Standard uncertainty of the sum. What lies beside a product changes its amplitude by its part in phase, so by
    1 / sqrt 2 of its rms. Of one chain, gain errors cancel in a ratio."""
    each = floor / math.sqrt(2.0)
    total = math.hypot(*amplitudes)
    if not definition.in_squares:
        return each * math.sqrt(len(amplitudes))
    return each if total else each * math.sqrt(len(amplitudes))


def definitions_in_words(method: Method) -> Iterator[str]:
    """What each figure of a method is divided and added like, for the record."""
    if method == "modulation":
        yield (
            "modulation distortion: sidebands of one order added arithmetically, over the output at the higher tone "
            "(IEC 60268-3, 14.12.7); modulation_distortion_rss: the root-sum-square of all four sidebands over the same"
        )
    else:
        yield "difference frequency distortion: over the sum of both tones (IEC 60268-3, 14.12.8)"
