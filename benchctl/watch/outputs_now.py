"""Power and distortion as the last record shows them, by the analyses that make figures of records.

These values are for a person who watches. They are not kept, and no uncertainty is told with them.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from benchctl.errors import BenchctlError
from benchctl.measure.analyses.by_step import ANALYSES
from benchctl.measure.analyses.context import BurstContext, ContinuousContext, IdleContext
from benchctl.quantity import render
from benchctl.runner.acting.contexts import load_resistances
from benchctl.runner.acting.desk import OutputReading
from benchctl.runner.acting.run import LastRecord, Run
from benchctl.runner.expected.rests import phase_is_free
from benchctl.runner.steps.by_hand.looks import outputs_in, peaks_of
from benchctl.runner.steps.find_clean_level import distortion_band_hz, low_pass_hz
from benchctl.watch.now import OutputNow

_DIGITS = 3


def in_words(outputs: Mapping[str, OutputReading]) -> tuple[OutputNow, ...]:
    """Readings of outputs as they are shown."""
    return tuple(_in_words(channel, reading) for channel, reading in outputs.items())


def _in_words(channel: str, reading: OutputReading) -> OutputNow:
    sign = "<" if reading.is_bound else ""
    return OutputNow(
        channel,
        power="" if reading.power_w is None else render(reading.power_w, "W", digits=_DIGITS),
        distortion="" if reading.thd_n is None else f"{sign}{render(reading.thd_n, '1', digits=2)}",
        voltage=_voltage(reading),
    )


def _voltage(reading: OutputReading) -> str:
    for value, word in ((reading.dc_v, " dc"), (reading.peak_v, " peak"), (reading.rms_v, "")):
        if value is not None:
            return f"{render(value, 'V', digits=_DIGITS)}{word}"
    return ""


def outputs_of(run: Run, last: LastRecord) -> dict[str, OutputReading]:
    """Channel -> what a record shows of it. Nothing is asked of an instrument.

    Of bursts the power is that of the weakest whole cycle, and the distortion that of the worst. Of a signal that is
    neither a sine nor bursts of one, and of what gives no figure, the peak is shown.
    """
    capture = last.capture
    try:
        analysis, role, context = _analysis_of(run, last)
        return outputs_in(ANALYSES[analysis].figures({role: capture}, {}, context)) if analysis else peaks_of(capture)
    except BenchctlError:
        return _peaks_if_readable(last)


def _peaks_if_readable(last: LastRecord) -> dict[str, OutputReading]:
    try:
        return peaks_of(last.capture)
    except BenchctlError:
        return {}


def _analysis_of(run: Run, last: LastRecord) -> tuple[str, str, Any]:
    """The analysis for such a record, the name that it has for it, and what it must know."""
    at = last.capture.conditions
    if at.drive == "undriven":
        return "idle", "idle", IdleContext(**run.accuracies())
    if at.load_ohm is None or at.frequency_hz is None or (last.burst is None and at.bursts):
        return "", "", None
    common = _common(run, last, at.load_ohm, at.frequency_hz)
    if last.burst is None:
        return "continuous", "continuous", ContinuousContext(**common)
    context = BurstContext(
        cycles=last.burst.cycles,
        every_s=last.burst.every_s,
        low_level_ratio=last.burst.rest_ratio,
        phase_is_free=phase_is_free(run.files.bench),
        **common,
    )
    return "burst", "clean", context


def _common(run: Run, last: LastRecord, load_ohm: float, frequency_hz: float) -> dict[str, Any]:
    bench, amplifier, driven = run.files.bench, run.files.amplifier, last.capture.conditions.driven
    return {
        "frequency_hz": frequency_hz,
        "loads": load_resistances(bench, driven, load_ohm, last.capture.load_c),
        "band_hz": distortion_band_hz(frequency_hz),
        "low_pass_hz": low_pass_hz(amplifier, frequency_hz),
        **run.accuracies(),
    }
