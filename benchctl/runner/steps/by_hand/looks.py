"""What the amplifier does while a person drives it: a fresh record, and what is shown of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchctl.measure.analyses.by_step import ANALYSES
from benchctl.measure.analyses.context import IdleContext
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.runner.acting.desk import OutputReading
from benchctl.runner.acting.drive import load_and_frequency
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.steps.find_clean_level import steady_context

READ_BY_THE_GUARD = ("supply_current", "supply_voltage", "heatsink")


@dataclass(frozen=True)
class Look:
    """A record of the amplifier, and what an analysis needs to make figures of it. `analysis` is empty for bursts: at a
    level that was set, no figure of them is defined."""

    analysis: str
    capture: Capture
    readings: Mapping[str, Sequence[float]]
    context: IdleContext

    @property
    def captures(self) -> dict[str, Capture]:
        """The record by the name that the analysis has for it."""
        return {self.analysis: self.capture}


def look_at(run: Run, cycles: int | None = None, every_s: float = 0.0) -> Look:
    """Take a record of what drives the amplifier now: bursts of so many `cycles`, a steady tone, or nothing.

    Raises:
        MeasurementError: no range shows the signals whole.
        LimitTripped: the dc at an output is over its limit.
    """
    read = {signal: run.guard.readings.get(signal) for signal in READ_BY_THE_GUARD}
    readings = {signal: [value] for signal, value in read.items() if value is not None}
    level_v = run.conditions.level_v
    if level_v is None:
        capture = record_taking.take(run, "idle", record_taking.idle_record(), 0.0, record_taking.outputs(run))
        return Look("idle", capture, readings, IdleContext(**run.accuracies()))
    load_ohm, frequency_hz = load_and_frequency(run)
    context = steady_context(run, load_ohm, frequency_hz)
    signals = [*record_taking.driven_outputs(run), *record_taking.supply_signals(run)]
    if cycles is not None:
        record = record_taking.burst_record(frequency_hz, cycles, every_s)
        return Look("", record_taking.take(run, "burst", record, level_v, signals), readings, context)
    record = record_taking.steady_record(frequency_hz)
    return Look("continuous", record_taking.take(run, "continuous", record, level_v, signals), readings, context)


def outputs_of(look: Look) -> dict[str, OutputReading]:
    """Channel -> what is shown of it: of bursts half of peak to peak, else what the analysis makes of the record.

    Raises:
        MeasurementError: the record cannot give its figures.
    """
    if not look.analysis:
        return peaks_of(look.capture)
    return outputs_in(ANALYSES[look.analysis].figures(look.captures, look.readings, look.context))


def peaks_of(capture: Capture) -> dict[str, OutputReading]:
    """Channel -> half of peak to peak.

    Raises:
        MeasurementError: a trace is clipped or gives no values.
    """
    return {channel: OutputReading(peak_v=_half_span_v(capture, channel)) for channel in capture.channels}


def _half_span_v(capture: Capture, channel: str) -> float:
    return float(np.ptp(capture.trace(OUTPUT + channel).values())) / 2.0


def outputs_in(figures: Sequence[Figure]) -> dict[str, OutputReading]:
    """Channel -> what is shown of it, out of the figures of a record."""
    outputs: dict[str, OutputReading] = {}
    for figure in figures:
        if not figure.channel or figure.channel == "total":
            continue
        reading = outputs.get(figure.channel, OutputReading())
        match figure.name:
            case "output_rms":
                reading = replace(reading, rms_v=figure.value)
            case "continuous_power" | "burst_power_clean":
                reading = replace(reading, power_w=figure.value)
            case "thd_n":
                reading = replace(reading, thd_n=figure.value, is_bound=figure.bound == "at most")
            case "dc_offset":
                reading = replace(reading, dc_v=figure.value)
        outputs[figure.channel] = reading
    return outputs
