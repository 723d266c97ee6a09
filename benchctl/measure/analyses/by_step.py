"""The figures of each kind of step, from its captures, its readings and their context; and nothing else.

The runner calls these when it measures, the archive when it verifies. There is no second path.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from benchctl.errors import MeasurementError
from benchctl.measure.analyses.bench_check_context import (
    ColdContext,
    LoadsContext,
    PathsContext,
    RelaysContext,
    WarmingCheckContext,
)
from benchctl.measure.analyses.bridge_figures import with_halves
from benchctl.measure.analyses.burst_figures import burst_tables, clean_figures, full_figures
from benchctl.measure.analyses.context import BurstContext, ContinuousContext, IdleContext
from benchctl.measure.analyses.crosstalk_figures import CrosstalkContext, crosstalk
from benchctl.measure.analyses.damping_figures import DampingContext, damping
from benchctl.measure.analyses.damping_sweep_figures import DampingSweepContext, damping_sweep
from benchctl.measure.analyses.distortion_figures import DistortionContext, distortion
from benchctl.measure.analyses.filter_figures import filter_figures
from benchctl.measure.analyses.fold_back_figures import FoldBackContext, fold_back
from benchctl.measure.analyses.gain_figures import GainContext, gain
from benchctl.measure.analyses.input_impedance_figures import InputImpedanceContext, input_impedance
from benchctl.measure.analyses.intermodulation_figures import IntermodulationContext, intermodulation
from benchctl.measure.analyses.linearity_figures import LinearityContext, linearity
from benchctl.measure.analyses.look_context import LookContext
from benchctl.measure.analyses.lowest_supply import LowestSupplyContext, lowest_supply
from benchctl.measure.analyses.noise_figures import NoiseContext, noise_figures
from benchctl.measure.analyses.point_figures import PointsContext, points
from benchctl.measure.analyses.polarity_figures import PolarityContext, polarity
from benchctl.measure.analyses.protection_figures import ProtectionContext, protection
from benchctl.measure.analyses.ramp_figures import RampContext, ramp
from benchctl.measure.analyses.response_figures import ResponseContext, response
from benchctl.measure.analyses.soak_figures import SoakContext, soak
from benchctl.measure.analyses.square_figures import SquareContext, square
from benchctl.measure.analyses.stated_power import StatedContext, stated_power
from benchctl.measure.analyses.static_sag import REST, static_sag
from benchctl.measure.analyses.supply_voltages import with_read_voltages
from benchctl.measure.analyses.tone_figures import tone_figures
from benchctl.measure.analyses.turn_on_figures import TurnOnContext, turn_on
from benchctl.measure.analyses.warming import WarmingContext, warming
from benchctl.measure.analyses.warmth_context import WarmthContext
from benchctl.measure.budget.at_least import with_bounds
from benchctl.measure.budget.figure import Figure, figure_of, from_capture
from benchctl.measure.budget.found_level import with_level_doubt
from benchctl.measure.budget.meters import Meters, Readings
from benchctl.measure.budget.signals import Signals
from benchctl.measure.signal.distortion import Heard, noise_and_distortion, tone_spectrum
from benchctl.measure.signal.record import OUTPUT, SUPPLY_VOLTAGE, Capture
from benchctl.measure.signal.supply import at_rest, whole_cycles

Captures = Mapping[str, Capture]


def idle(captures: Captures, readings: Readings, context: IdleContext) -> list[Figure]:
    """Captures "idle"; readings supply_current, supply_voltage, terminal_voltage, heatsink, ambient; each as far as
    there is any.

    Gives idle_current, idle_power, supply_voltage, supply_output_voltage, dc_offset per channel, heatsink_temperature,
    ambient_temperature.
    """
    meters = Meters(readings, context.readings_accuracy)
    figures = meters.figures("idle_current", "supply_current", "A")
    power = meters.supply_power()
    figures += [] if power is None else [figure_of("idle_power", power, "W")]
    if "idle" in captures:
        figures += from_capture(_captured_at_rest(captures["idle"], context), captures["idle"].name)
    return with_read_voltages(figures, meters, context) + meters.temperatures()


def _captured_at_rest(capture: Capture, context: IdleContext) -> list[Figure]:
    """The dc at each output, and the voltage at the amplifier's terminals where a probe is there."""
    signals, whole = Signals(capture, context.accuracy), at_rest(capture)
    figures = [
        figure_of("dc_offset", signals.mean(OUTPUT + channel, whole), "V", channel) for channel in capture.channels
    ]
    if signals.has(SUPPLY_VOLTAGE):
        figures.append(figure_of("supply_voltage", signals.mean(SUPPLY_VOLTAGE, whole), "V"))
    return figures


def burst(captures: Captures, readings: Readings, context: BurstContext) -> list[Figure]:
    """Captures "clean" and "full", either of which may be absent, and of a class D amplifier "clean fine" and "full
    fine", each of one burst; readings heatsink, ambient.

    Gives burst_power_clean and thd_n at clean drive; burst_power_first, _highest, _lowest, _last, output_peak,
    output_rms, droop, droop_time_constant, supply_current, supply_current_peak, supply_voltage,
    supply_voltage_lowest, supply_voltage_sag, efficiency, marginal_efficiency and watts_per_ampere at full drive;
    heatsink_temperature, ambient_temperature.

    Raises:
        MeasurementError: a record cannot give its figures, or there is none.
    """
    figures: list[Figure] = []
    if "clean" in captures:
        records = [captures[role] for role in ("clean", "clean fine") if role in captures]
        fine = captures.get("clean fine")
        clean = with_level_doubt(lambda: clean_figures(captures["clean"], context, fine), context.level_u)
        clean = with_bounds(clean, context.at_least, context.loads)
        clean = with_halves(clean, "burst_power_clean", context.halves, context.loads)
        figures += from_capture(clean, *(record.name for record in records))
    if "full" in captures:
        records = [captures[role] for role in ("full", "full fine") if role in captures]
        finer = captures.get("full fine")
        full = with_level_doubt(lambda: full_figures(captures["full"], context, finer), context.level_u_full)
        full = with_bounds(full, context.at_least_full, context.loads)
        figures += from_capture(full, *(record.name for record in records))
    if not figures:
        raise MeasurementError("a burst has neither a capture at clean drive nor one at full drive")
    figures += Meters(readings, context.readings_accuracy).temperatures()
    return [replace(figure, burst_cycles=context.cycles) for figure in figures]


def continuous(captures: Captures, readings: Readings, context: ContinuousContext) -> list[Figure]:
    """Captures "continuous", "check" where a carrier may be folded into that, and "rest" where one of the supply was
    taken before the tone; readings supply_current, supply_voltage, terminal_voltage, the last two also with `_at_rest`
    at the end, heatsink, ambient, each as far as there is any.

    Gives continuous_power per channel and total, output_rms, output_peak, crest_factor, thd_n and thd per channel, of a
    class D amplifier carrier_residue and carrier_frequency, supply_current, supply_current_peak, supply_voltage,
    supply_output_voltage, supply_voltage_lowest, supply_voltage_sag, static_sag, efficiency, marginal_efficiency,
    watts_per_ampere, heatsink_temperature,
    ambient_temperature.

    Raises:
        MeasurementError: the record cannot give its figures, or there is none.
    """
    if "continuous" not in captures:
        raise MeasurementError("no capture of the continuous tone was taken")
    meters = Meters(readings, context.readings_accuracy)
    tone = captures["continuous"]
    rest, check = captures.get(REST), captures.get("check")
    figures = with_level_doubt(lambda: tone_figures(tone, meters, context, rest, check), context.level_u)
    figures += static_sag(tone, whole_cycles(tone, context.frequency_hz), captures, readings, context)
    figures += meters.temperatures()
    bounded = with_bounds(figures, context.at_least, context.loads)
    return with_halves(bounded, "continuous_power", context.halves, context.loads)


def look(_captures: Captures, _readings: Readings, _context: IdleContext) -> list[Figure]:
    """No figures: what is seen before the amplifier is driven hard, or in a check of the bench, is only compared."""
    return []


def worst_cycles(capture: Capture, context: BurstContext) -> dict[str, Heard]:
    """Channel -> the whole cycle of the burst with most THD+N: what clean drive is held to."""
    return {channel: table.worst.heard for channel, table in burst_tables(capture, context).items()}


def first_cycles(capture: Capture, context: BurstContext) -> dict[str, Heard]:
    """Channel -> the first whole cycle of the burst: what full drive is set by."""
    return {channel: table.cycles[0].heard for channel, table in burst_tables(capture, context).items()}


def steady_tones(capture: Capture, context: ContinuousContext) -> dict[str, Heard]:
    """Channel -> THD+N of a steady tone, and its fundamental."""
    channels = Signals(capture, {}, context.loads).channels
    return {channel: _steady(capture, OUTPUT + channel, context) for channel in channels}


def _steady(capture: Capture, signal: str, context: ContinuousContext) -> Heard:
    trace = capture.trace(signal)
    tone = tone_spectrum(trace.values(), capture.interval_s, context.frequency_hz, trace.step)
    return Heard(noise_and_distortion(tone, context.band_hz), tone.fit.rms)


@dataclass(frozen=True)
class Analysis:
    """A pure function of captures, readings and context, and the type of that context."""

    figures: Callable[[Captures, Readings, Any], list[Figure]]
    context: type[IdleContext]


ANALYSES: Mapping[str, Analysis] = {
    "idle": Analysis(idle, IdleContext),
    "burst": Analysis(burst, BurstContext),
    "continuous": Analysis(continuous, ContinuousContext),
    "damping": Analysis(damping, DampingContext),
    "distortion": Analysis(distortion, DistortionContext),
    "linearity": Analysis(linearity, LinearityContext),
    "damping_sweep": Analysis(damping_sweep, DampingSweepContext),
    "noise": Analysis(noise_figures, NoiseContext),
    "response": Analysis(response, ResponseContext),
    "ramp": Analysis(ramp, RampContext),
    "crosstalk": Analysis(crosstalk, CrosstalkContext),
    "gain": Analysis(gain, GainContext),
    "filter": Analysis(filter_figures, ResponseContext),
    "warming": Analysis(warming, WarmingContext),
    "soak": Analysis(soak, SoakContext),
    "protection": Analysis(protection, ProtectionContext),
    "fold_back": Analysis(fold_back, FoldBackContext),
    "turn_on": Analysis(turn_on, TurnOnContext),
    "lowest_supply": Analysis(lowest_supply, LowestSupplyContext),
    "stated_power": Analysis(stated_power, StatedContext),
    "points": Analysis(points, PointsContext),
    "look": Analysis(look, LookContext),
    "polarity": Analysis(polarity, PolarityContext),
    "square": Analysis(square, SquareContext),
    "intermodulation": Analysis(intermodulation, IntermodulationContext),
    "input_impedance": Analysis(input_impedance, InputImpedanceContext),
    "check_cold": Analysis(look, ColdContext),
    "check_warming": Analysis(look, WarmingCheckContext),
    "check_paths": Analysis(look, PathsContext),
    "check_relays": Analysis(look, RelaysContext),
    "check_loads": Analysis(look, LoadsContext),
    "check_warmth": Analysis(look, WarmthContext),
}
