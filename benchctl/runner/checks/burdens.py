"""Compares the highest power of a step with the ratings of load, probes and supply."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from benchctl.documents.bench_file.instruments import ElectronicLoad
from benchctl.documents.text.words import listed
from benchctl.quantity import render
from benchctl.runner.expected.load_ratings import ratings_w
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase

# A wirewound resistor can take an overload for some seconds, in proportion to its thermal mass. Common practice allows
# five times its rating for five seconds. Half of that is allowed here: so many seconds of its rated power in addition.
OVERLOAD_S = 12.5
# A burst of some cycles draws its current from the reservoir.
SHORT_S = 1.0


def hazards_of(worst: WorstCase, state: ExpectedState) -> Iterator[str]:
    """The hazards of so much power, including the heat that the loads still hold from the steps before."""
    load_ohm = worst.load_ohm or state.load_ohm
    if worst.load_w > 0 and load_ohm is not None:
        yield from _load_power(worst, load_ohm, state)
        yield from _load_voltage(worst, state)
        yield from _probe_voltage(worst, state)
        yield from _supply_current(worst, state)
    _let_cool(worst, load_ohm, state)


def bears_s(load_w: float, rated_w: float, held_s: float = 0.0) -> float:
    """How long a resistor can take a power above its rating; `held_s`: what it still holds of an earlier overload."""
    return max(OVERLOAD_S - held_s, 0.0) / (load_w / rated_w - 1.0)


def _load_power(worst: WorstCase, load_ohm: float, state: ExpectedState) -> Iterator[str]:
    alike: dict[tuple[float, float], list[str]] = defaultdict(list)
    for channel, rated_w in ratings_w(state.bench, state.amplifier, load_ohm).items():
        held_s = state.load_overload_s.get((channel, load_ohm), 0.0)
        if held_s + _overload_s(worst, rated_w) > OVERLOAD_S:
            alike[rated_w, held_s].append(channel)
    for (rated_w, held_s), channels in alike.items():
        borne_s = render(bears_s(worst.load_w, rated_w, held_s), "s", digits=3)
        warm = ", warm from the steps before," if held_s else ""
        yield (
            f"the {render(load_ohm, 'ohm')} load at {listed(channels)} is rated {render(rated_w, 'W')}; this step may "
            f"put {render(worst.load_w, 'W')} into it for {render(worst.for_s, 's')}, "
            f"and{warm} it can take that for {borne_s}; lower the level, shorten the step, or wire a larger one"
        )


def _overload_s(worst: WorstCase, rated_w: float) -> float:
    """What the step adds above the rating, in seconds of rated power."""
    return (worst.load_w / rated_w - 1.0) * worst.for_s


def _let_cool(worst: WorstCase, load_ohm: float | None, state: ExpectedState) -> None:
    """What the loads hold after the step. A resistor hotter than at its rating gives off its rated power or more, also
    while instruments are compared, which is before the drive."""
    looked_s, state.looked_s = state.looked_s, 0.0
    duration_s = max(worst.duration_s, worst.for_s)
    held = {place: seconds - duration_s for place, seconds in state.load_overload_s.items()}
    if worst.load_w > 0 and load_ohm is not None:
        for channel, rated_w in ratings_w(state.bench, state.amplifier, load_ohm).items():
            before_s = state.load_overload_s.get((channel, load_ohm), 0.0)
            driven_s = max(max(before_s - looked_s, 0.0) + _overload_s(worst, rated_w), 0.0)
            held[channel, load_ohm] = driven_s - (duration_s - worst.for_s - looked_s)
    state.load_overload_s = {place: seconds for place, seconds in held.items() if seconds > 0.0}


def _load_voltage(worst: WorstCase, state: ExpectedState) -> Iterator[str]:
    load = state.bench.load
    if not isinstance(load, ElectronicLoad) or load.ratings.voltage_v is None:
        return
    if worst.output_peak_v > load.ratings.voltage_v:
        yield (
            f"output {load.channel} may reach {render(worst.output_peak_v, 'V')} peak and the electronic load is "
            f"rated {render(load.ratings.voltage_v, 'V')}; lower the level, or use another load"
        )


def _probe_voltage(worst: WorstCase, state: ExpectedState) -> Iterator[str]:
    oscilloscope, peak_v = state.bench.instruments.oscilloscope, worst.output_peak_v
    for channel, wiring in state.bench.signals.outputs.items():
        probe = wiring.probe
        if channel not in state.amplifier.channels:
            continue
        if peak_v > probe.rating_v:
            yield (
                f"output {channel} may reach {render(peak_v, 'V')} peak and its probe is rated "
                f"{render(probe.rating_v, 'V')}; lower the level, or use a probe rated for it"
            )
        elif oscilloscope is not None and peak_v / probe.ratio > oscilloscope.ratings.input_v:
            yield (
                f"output {channel} may put {render(peak_v / probe.ratio, 'V')} on oscilloscope channel "
                f"{wiring.oscilloscope}, which takes {render(oscilloscope.ratings.input_v, 'V')}; "
                f"use a probe of a higher ratio than {probe.ratio:g}"
            )


def _supply_current(worst: WorstCase, state: ExpectedState) -> Iterator[str]:
    drawn = render(worst.supply_a, "A")
    clamp = state.bench.signals.supply_current
    if clamp is not None and worst.supply_a > clamp.probe.rating_a:
        yield (
            f"this step may draw {drawn} and the current clamp is rated {render(clamp.probe.rating_a, 'A')}; "
            "lower the level, or use a larger clamp"
        )
    if worst.for_s < SHORT_S:
        return
    if state.current_limit_a is not None and worst.supply_a > state.current_limit_a:
        yield (
            f"this step may draw {drawn} and the supply's current limit is {render(state.current_limit_a, 'A')}, "
            "where its voltage would fall; raise the current limit, lower the level, or use a lighter load"
        )
