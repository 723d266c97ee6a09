"""What is plausible of any amplifier of this kind before anything is measured, and what the bench file states.

Widths of what nobody states are common practice, and wide; a quantity whose result is little narrower than its width
here is untold.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from benchctl.fit.model.assembled import told_of_converter
from benchctl.fit.model.physics import Kind
from benchctl.fit.parameters import Parameter, Parameters
from benchctl.fit.reading.items import Scale, Take
from benchctl.fit.reading.taking import Bench
from benchctl.measure.signal.record import OUTPUT

HEATING_K = 5.0
"""What a load's wire may be warmer than its sensor shows, as a standard uncertainty (common practice)."""

BIAS_MOVES = 0.04
"""Part by which the bias may differ from record to record with the devices' temperature, as a standard uncertainty."""

AT_EDGES, AT_EDGES_SPREAD = 0.006, 0.0045
"""Part of its power at full output that a class D stage loses at the edges of its carrier, and the standard uncertainty
of that (common practice: up to 2 %)."""

PATH_H = 6e-6
"""Inductance of leads, about 1 uH for a metre of a pair, and of a supply that gives way for a moment: 5 mohm for 1 ms
are 5 uH. A standard uncertainty, set after trials on simulated benches."""

GIVE_S, GIVE_SPREAD = 5e-4, 0.7
"""Time within which a supply recovers from a step of its load, and the standard uncertainty of its logarithm (common
practice)."""

CLAMP_S = 8e-6
"""By which a current clamp is late, as one of 20 kHz is; a standard uncertainty, set after trials on
simulated benches."""

THIRD = 2e-4
"""Third harmonic of a generator over its tone, in phase with it or against it, as a standard uncertainty (common
practice). It bends the top of a sine as clipping that sets in does."""

INNER_OHM = 5e-3
"""By which an ampere lowers what a supply holds; a standard uncertainty, set after trials on simulated benches."""

MORE_DC_V = 0.1
"""By which dc under a tone may differ from dc at rest: what a generator adds, and what crossover swallows at rest; a
standard uncertainty, set after trials on simulated benches."""

SINES = ("sine", "cosine")
"""Both parts of what a converter's steps leave in a mean, whose phase nobody knows."""

PHASE_RAD = 0.02
USUAL_PATH_OHM = 5e-3
"""Of leads and connectors, where nothing has told it (common practice)."""


def parameters_for(
    takes: Sequence[Take], channels: Sequence[str], kind: Kind, bench: Bench, started: Mapping[str, float]
) -> Parameters:
    """All parameters of a fit; `started`: closed forms that those which nothing limits are centred on."""
    return Parameters(
        [
            *_circuit(kind, started),
            *_channels(channels, started),
            *_supplies(takes),
            *_loads(takes),
            *_generator(bench),
            *_of_takes(takes, channels),
            *_scales(takes),
        ]
    )


def usual(kind: Kind) -> dict[str, Parameter]:
    """What is plausible of each number of a circuit, by name; what no range holds stands at 1."""
    free = ("headroom_v", told_of_converter(kind), "stiffness_ohm", "reservoir_f", "idle_a")
    return {each.name: each for each in _circuit(kind, {**dict.fromkeys(free, 1.0), "path_ohm": USUAL_PATH_OHM})}


def _circuit(kind: Kind, started: Mapping[str, float]) -> Iterator[Parameter]:
    def free(name: str, spread: float = 1.5) -> Parameter:
        return Parameter(name, started[name], spread, is_ratio=True)

    yield free("headroom_v")
    yield free(told_of_converter(kind))
    yield free("stiffness_ohm")
    yield free("reservoir_f")
    yield free("idle_a", 1.0)
    yield Parameter("saturation_v", 1.5, 0.7, is_ratio=True)
    yield Parameter("output_ohm", 0.02, 1.2, is_ratio=True)
    yield Parameter("knee", 0.0, 0.1)
    yield Parameter("bleed_ohm", 2200.0, 1.0, is_ratio=True)
    yield Parameter("steady_share", 0.2, 0.6, is_ratio=True)
    yield Parameter("path_ohm", max(started["path_ohm"], 1e-4), 1.5, is_ratio=True)
    yield Parameter("path_h", 0.0, PATH_H)
    yield Parameter("give_s", GIVE_S, GIVE_SPREAD, is_ratio=True)
    yield Parameter("clamp_s", 0.0, CLAMP_S)
    yield Parameter("inner_ohm", 0.0, INNER_OHM)
    if kind.switching:
        yield Parameter("conduction_ohm", 0.03, 1.0, is_ratio=True)
        yield Parameter("switching_share", 0.5, 0.5, is_ratio=True)
        yield Parameter("lost at edges", AT_EDGES, AT_EDGES_SPREAD)


def _channels(channels: Sequence[str], started: Mapping[str, float]) -> Iterator[Parameter]:
    for channel in channels:
        yield Parameter(f"gain {channel}", started[f"gain {channel}"], 0.5, is_ratio=True)
        yield Parameter(f"dc {channel}", 0.0, 0.5)
        yield Parameter(f"more dc {channel}", 0.0, MORE_DC_V)


def _supplies(takes: Sequence[Take]) -> Iterator[Parameter]:
    for volts in sorted({take.supply_v for take in takes}):
        yield Parameter(f"supply {volts:g}", volts, 0.1)


def _loads(takes: Sequence[Take]) -> Iterator[Parameter]:
    seen = {
        (channel, load.nominal_ohm): load.relative_uncertainty / 2.0
        for take in takes
        for channel, load in take.loads.items()
    }
    for (channel, nominal_ohm), relative_u in sorted(seen.items()):
        yield Parameter(f"load {channel} {nominal_ohm:g}", 1.0, max(relative_u, 1e-6), is_ratio=True)


def _generator(bench: Bench) -> Iterator[Parameter]:
    yield Parameter("level gain", 0.0, max(bench.level_gain_u, 1e-6))
    yield Parameter("level zero", 0.0, max(bench.level_zero_u, 1e-9))
    yield Parameter("frequency", 0.0, max(bench.frequency_u, 1e-9))
    yield Parameter("third", 0.0, THIRD)


def _of_takes(takes: Sequence[Take], channels: Sequence[str]) -> Iterator[Parameter]:
    for number, take in enumerate(takes):
        yield Parameter("bias part", 1.0, BIAS_MOVES, is_ratio=True, reach="take", take=number)
        if take.shape == "rest":
            continue
        coefficient = max((load.temperature_coefficient_per_k for load in take.loads.values()), default=0.0)
        yield Parameter("load heat", 1.0, max(coefficient * HEATING_K, 1e-6), is_ratio=True, reach="take", take=number)
        for channel in channels:
            yield Parameter(f"phase {channel}", 0.0, PHASE_RAD, reach="take", take=number)
            yield from _of_record(take, number, f"{OUTPUT}{channel}")


def _of_record(take: Take, number: int, signal: str) -> Iterator[Parameter]:
    if signal in take.items:
        moves_u = max(take.items[signal].scale.record_gain_u, 1e-9)
        yield Parameter(record_gain_of(signal), 0.0, moves_u, reach="scale", take=number)


def _scales(takes: Sequence[Take]) -> Iterator[Parameter]:
    seen: dict[str, Parameter] = {}
    for take in takes:
        for item in take.items.values():
            for parameter in _of_scale(item.scale, take.supply_v):
                known = seen.setdefault(parameter.name, parameter)
                seen[parameter.name] = max(known, parameter, key=lambda each: each.spread)
    yield from seen.values()


def _of_scale(scale: Scale, supply_v: float) -> Iterator[Parameter]:
    yield Parameter(gain_of(scale), 0.0, max(scale.gain_u, 1e-9), reach="scale")
    yield Parameter(zero_of(scale), 0.0, max(scale.zero_u, 1e-9), reach="scale")
    for sine in SINES if scale.steps_u else ():
        yield Parameter(steps_of(scale, supply_v, sine), 0.0, scale.steps_u, reach="scale")
    if scale.range_name:
        yield Parameter(range_gain_of(scale), 0.0, max(scale.range_gain_u, 1e-9), reach="scale")


def gain_of(scale: Scale) -> str:
    """The name of a signal's error of gain."""
    return f"gain of {scale.signal}"


def record_gain_of(signal: str) -> str:
    """The name of what a signal's gain has moved in one record."""
    return f"gain of {signal} in its record"


def zero_of(scale: Scale) -> str:
    """The name of a range's error of zero."""
    return f"zero of {scale.signal} on {scale.range_name}" if scale.range_name else f"zero of {scale.signal}"


def range_gain_of(scale: Scale) -> str:
    """The name of a range's own error of gain."""
    return f"gain of {scale.signal} on {scale.range_name}"


def steps_of(scale: Scale, supply_v: float, sine: str) -> str:
    """The name of a part of the sine that the steps of the converter leave in means on a range."""
    return f"{sine} of the steps of {scale.signal} on {scale.range_name} at {supply_v:g} V"
