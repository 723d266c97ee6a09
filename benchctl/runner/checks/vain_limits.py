"""Limits that can never trip: a bound beyond all possible readings, or a time that is longer than the run.

A person trusts a limit while they look elsewhere. One that cannot trip is worse than none.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

from benchctl.documents.bench_file.sight import unwatched
from benchctl.documents.model.limits import Limit, output_signal
from benchctl.quantity import render
from benchctl.runner.acting.run import Files

# Common practice: the air at a bench is not hotter, the surface of a wirewound resistor gets no hotter, and no sensor
# of such a bench reads more.
_HOTTEST_AIR_C, _HOTTEST_LOAD_C, _HOTTEST_SENSOR_C = 100.0, 350.0, 400.0
_COLDEST_C = -55.0
# Common practice: even a shorted output stage warms its heatsink by less.
_STEEPEST_K_PER_S = 10.0


class _Reach(NamedTuple):
    """The range of possible readings, and why it is that range."""

    low: float
    high: float
    why: str


def vain_limits(files: Files, longest_s: float) -> Iterator[str]:
    """Every limit of sequence and bench that can never trip in a run of at most `longest_s`, and why."""
    for signal, limit, origin in _limits(files):
        for fault in _faults(files, signal, limit, longest_s):
            yield f"the {origin} limits {signal} ({limit}), which can never trip: {fault}"


def limits_anything(files: Files, longest_s: float) -> bool:
    """Whether sequence or bench have a limit that can trip."""
    return any(not list(_faults(files, signal, limit, longest_s)) for signal, limit, _ in _limits(files))


def _limits(files: Files) -> Iterator[tuple[str, Limit, str]]:
    for limits, origin in ((files.sequence.limits, "sequence"), (files.bench.limits, "bench")):
        for signal, limit in limits.items():
            if signal not in unwatched(files.bench, files.amplifier):
                yield signal, limit, origin


def _faults(files: Files, signal: str, limit: Limit, longest_s: float) -> Iterator[str]:
    reach = _reach(files, signal)
    if math.isfinite(limit.high) and limit.high > reach.high:
        yield f"{reach.why}; give less than {render(reach.high, limit.unit)}"
    elif math.isfinite(limit.low) and limit.low <= reach.low:
        yield f"no reading is below {render(limit.low, limit.unit)}; give more than that, or remove the bound"
    if math.isfinite(limit.steepest) and limit.steepest > _STEEPEST_K_PER_S:
        fastest = f"{_STEEPEST_K_PER_S * 60:g} K/min"
        yield f"nothing on a bench warms faster than {fastest}; give a rise that can be"
    if limit.for_s > longest_s > 0.0:
        yield (
            f"it must stay passed for {render(limit.for_s, 's')}, and the whole run takes "
            f"{render(longest_s, 's')} at most; give a shorter 'for'"
        )


def _reach(files: Files, signal: str) -> _Reach:
    if signal.startswith("supply_"):
        return _supply_reach(files, signal)
    if signal == "output_offset":
        highest_v = min(_highest_seen_v(files), _highest_output_v(files))
        return _Reach(-highest_v, highest_v, f"no output and no probe reaches {render(highest_v, 'V')}")
    if signal.startswith("heatsink"):
        maximum_c = files.amplifier.heatsink.maximum_c
        return _Reach(
            _COLDEST_C, maximum_c, f"the amplifier's maximum of {render(maximum_c, 'degC')} stops the run before"
        )
    hottest_c = {"ambient": _HOTTEST_AIR_C, "load": _HOTTEST_LOAD_C}.get(signal, _HOTTEST_SENSOR_C)
    return _Reach(_COLDEST_C, hottest_c, f"nothing there gets hotter than {render(hottest_c, 'degC')}")


def _supply_reach(files: Files, signal: str) -> _Reach:
    """What the supply gives. A small supply does not make a limit useless that is right for the amplifier."""
    supply, bears = files.bench.instruments.supply, files.amplifier.supply
    outputs = {} if supply is None else supply.outputs
    for name, output in outputs.items():
        if signal == output_signal("current", name):
            borne_a = bears.fuse_a if name == "main" else 0.0
            fuse = f", and the amplifier's fuse is {render(borne_a, 'A')}" if borne_a else ""
            given = render(output.current_a, "A")
            return _Reach(-math.inf, max(output.current_a, borne_a), f"the supply gives up to {given}{fuse}")
        if signal == output_signal("voltage", name):
            borne_v = bears.maximum_v if name == "main" else 0.0
            given = render(output.voltage_v, "V")
            return _Reach(0.0, max(output.voltage_v, borne_v), f"the supply gives up to {given}")
    return _Reach(-math.inf, math.inf, "")  # nothing reads it, which is a hazard


def _highest_output_v(files: Files) -> float:
    """Twice the peak of rated power, which the rails of no output stage exceed (common practice)."""
    rms_v = max(files.amplifier.rated_voltage_v(line.load_ohm) for line in files.amplifier.rated)
    return 2.0 * math.sqrt(2.0) * rms_v


def _highest_seen_v(files: Files) -> float:
    """The highest voltage that any probe at an output shows."""
    oscilloscope = files.bench.instruments.oscilloscope
    input_v = math.inf if oscilloscope is None else oscilloscope.ratings.input_v
    probes = [wiring.probe for wiring in files.bench.signals.outputs.values()]
    return max((min(probe.rating_v, probe.ratio * input_v) for probe in probes), default=math.inf)
