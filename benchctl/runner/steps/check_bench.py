"""check_bench: the bench is checked with itself, cold, at idle and under a fraction of a watt.

Nothing that is found stops it: a wrong probe must not hide a wrong relay. The run ends after it if anything was found.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from benchctl.documents.model.limits import SUPPLY_SIGNALS
from benchctl.documents.sequence_file.bench_steps import CheckBench, PowerOff, PowerOn
from benchctl.errors import NoRecord
from benchctl.measure.analyses.bench_check_context import (
    ColdContext,
    PathsContext,
    RelaysContext,
    WarmingCheckContext,
)
from benchctl.measure.signal.record import Capture
from benchctl.measure.signal.thermal import heating
from benchctl.runner.acting.drive import RELAY_S, mute, set_frequency, tone
from benchctl.runner.acting.inputs import drives_alone_without_hands, feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.load_change import set_load
from benchctl.runner.acting.proving.loads import READ_EVERY_S, relay_readings, relays_of
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.zeroing import take_zeros, worst_case_zeros
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.load_ratings import rated_loads_on
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps.find_clean_level import SETTLE_S
from benchctl.runner.steps.power import perform_off, perform_on, worst_case_on

AIR = "ambient"
# What a relay adds is some ten milliamperes: readings that differ by less than one have come to rest, and the scatter
# of others averages.
TOLERANCE_A = 1e-3
READINGS = 24
SENSORS_EVERY_S = 5.0


def perform(step: CheckBench, run: Run) -> None:
    """Every check in turn.

    Raises:
        InstrumentsDisagree: something was found, and all of it was told.
        InstrumentError: an instrument fails, or the amplifier does not wake.
    """
    with _telling_all(run):
        _cold(run)
        perform_on(PowerOn(voltage_v=step.voltage_v, current_limit_a=step.current_limit_a), run)
        _idle(step, run)
        _paths(step, run)
        _relays(step, run)
        mute(run)
        perform_off(PowerOff(), run)
    run.check_agreement(harmless_too=True)
    run.note("the bench agrees with itself")


@contextmanager
def _telling_all(run: Run) -> Iterator[None]:
    """Contradictions are told and do not end the run yet."""
    run.tells_all = True
    try:
        yield
    finally:
        run.tells_all = False


def _cold(run: Run) -> None:
    """Zero and noise of every input on its finest range, and what is read while nothing is on."""
    take_zeros(run)
    readings: dict[str, list[float]] = {"supply_current": [run.read_supply()["supply_current"]]}
    sensors = _sensors(run)
    for name in sensors:
        readings[name] = run.read_if_any(name)
    captures: dict[str, Capture] = {}
    if run.bench.oscilloscope.records_freely:
        signals = [*record_taking.outputs(run), *record_taking.supply_signals(run)]
        captures["cold"] = record_taking.take(run, "cold", record_taking.idle_record(), 0.0, signals)
    context = ColdContext(sensors=sensors, air=AIR if AIR in sensors else "", **run.accuracies())
    run.analyse("check_cold", captures, readings, context, {})


def _idle(step: CheckBench, run: Run) -> None:
    """Supply by each instrument that sees it, and which sensor warms."""
    amplifier, sensors = run.files.amplifier, _sensors(run)
    readings: dict[str, list[float]] = {name: [] for name in (*SUPPLY_SIGNALS, *sensors)}
    for _ in run.paced(SENSORS_EVERY_S, step.warm_s):
        for signal, value in run.read_supply().items():
            readings[signal].append(value)
        for name in sensors:
            readings[name] += run.read_if_any(name)
    signals = record_taking.supply_signals(run)
    captures = {}
    if signals and run.bench.oscilloscope.records_freely:
        captures["idle"] = record_taking.take(run, "idle", record_taking.idle_record(), 0.0, signals)
    heat_w = (amplifier.idle_current_a or 0.0) * step.voltage_v
    curve = heating(0.0, 0.0, heat_w, amplifier.heatsink_k_per_w, amplifier.heatsink.time_constant_s)
    # Means of the first and the last quarter lie three quarters of the time apart.
    context = WarmingCheckContext(
        expected_k=curve.temperature_c(0.75 * step.warm_s), sensors=sensors, **run.accuracies()
    )
    run.analyse("check_warming", captures, readings, context, {})


def _sensors(run: Run) -> tuple[str, ...]:
    return tuple(run.bench.thermometer.channels) if run.bench.has("thermometer") else ()


def _paths(step: CheckBench, run: Run) -> None:
    """A low tone at all inputs, and at each alone where that can be done without a hand."""
    amplifier, bench = run.files.amplifier, run.files.bench
    set_load(run, rated_loads_on(bench, amplifier)[0])
    set_frequency(run, step.frequency_hz)
    level_v = level_in_v(run, step.level, run.conditions.load_ohm)
    driven = {"all": tuple(amplifier.channels)}
    if drives_alone_without_hands(bench):
        driven |= {f"{channel} alone": (channel,) for channel in amplifier.channels}
    captures: dict[str, Capture] = {}
    has_trigger = True
    for role, channels in driven.items():
        feed(run, channels)
        tone(run, level_v)
        run.wait(SETTLE_S)
        try:
            captures[role] = _look(run, role, level_v, triggered=has_trigger)
        except NoRecord:
            has_trigger = False
            captures[role] = _look(run, role, level_v, triggered=False)
    feed(run, "all")
    context = PathsContext(
        frequency_hz=step.frequency_hz,
        level_v=level_v,
        gain=amplifier.gain_ratio,
        driven=driven,
        ratios={name: wiring.probe.ratio for name, wiring in bench.signals.outputs.items()},
        has_trigger=has_trigger,
        **run.accuracies(),
    )
    run.analyse("check_paths", captures, {}, context, {})


def _look(run: Run, role: str, level_v: float, *, triggered: bool) -> Capture:
    """All outputs, whichever are driven: a quiet one may be the one that answers."""
    record = replace(record_taking.steady_record(run.conditions.frequency_hz or 1000.0), triggered=triggered)
    expected_v = level_v * run.files.amplifier.gain_ratio * math.sqrt(2.0)
    outputs = record_taking.outputs(run)
    return record_taking.take(run, f"path {role}", record, level_v, outputs, dict.fromkeys(outputs, expected_v))


def _relays(step: CheckBench, run: Run) -> None:
    """Each relay of the bank closed alone, and what that adds to the supply current."""
    relays = relays_of(run.files.bench, run.files.amplifier.channels)
    if not relays:
        return
    level_v = level_in_v(run, step.level, max(relay.nominal_ohm for relay in relays))
    each_alone = drives_alone_without_hands(run.files.bench)
    readings: dict[str, list[float]] = {}
    for channel in run.files.amplifier.channels if each_alone else ("",):
        readings |= relay_readings(run, channel, relays, level_v, TOLERANCE_A, most=READINGS)
    feed(run, "all")
    context = RelaysContext(
        relays=relays,
        output_v=level_v * run.files.amplifier.gain_ratio,
        supply_v=step.voltage_v,
        each_alone=each_alone,
        **run.accuracies(),
    )
    run.analyse("check_relays", {}, readings, context, {})


def worst_case(step: CheckBench, state: ExpectedState) -> WorstCase:
    """Under a watt; what takes its time is that the sensors are watched, and that each relay is closed alone."""
    zeros_s = worst_case_zeros(state)
    on = worst_case_on(PowerOn(voltage_v=step.voltage_v, current_limit_a=step.current_limit_a), state)
    loads = rated_loads_on(state.bench, state.amplifier)
    if not loads:
        state.hazard("the bench has no load that the amplifier is rated for; add one to the bench file")
        return WorstCase(duration_s=on.duration_s)
    state.load_ohm, state.frequency_hz = loads[-1], step.frequency_hz
    ways = len(state.amplifier.channels) if drives_alone_without_hands(state.bench) else 1
    relays = len(relays_of(state.bench, state.amplifier.channels))
    record_s = SETTLE_S + record_taking.FETCH_S + state.asking_s()
    read_s = SETTLE_S + RELAY_S + READINGS * READ_EVERY_S + state.pace.switch_s
    tone_s = (1 + ways) * record_s + ways * (1 + relays) * read_s
    power = state.tone(step.level, for_s=tone_s)
    state.level, state.load_ohm, state.supply_v = None, None, None
    return WorstCase(duration_s=zeros_s + on.duration_s + step.warm_s + tone_s, **power)
