"""measure_idle: what the undriven amplifier draws, and the dc at its outputs."""

from __future__ import annotations

from benchctl.documents.measuring_steps import MeasureIdle
from benchctl.measure.context import IdleContext
from benchctl.runner import exposure
from benchctl.runner.drive import mute
from benchctl.runner.outlook import Forecast, Outlook
from benchctl.runner.run import Run

SAMPLE_EVERY_S = 0.25


def perform(step: MeasureIdle, run: Run) -> None:
    """Average the supply's readings over the step's time, then look at the outputs."""
    mute(run)
    readings: dict[str, list[float]] = {"supply_current": [], "supply_voltage": []}
    for _ in range(max(1, round(step.for_s / SAMPLE_EVERY_S))):
        run.wait(SAMPLE_EVERY_S)
        for signal, value in run.read_supply().items():
            readings[signal].append(value)
    capture = exposure.take(
        run, "idle", exposure.idle_record(), 0.0, [*exposure.outputs(run), *exposure.supply_signals(run)]
    )
    readings["heatsink"] = run.read_if_any("heatsink")
    run.analyse("idle", {"idle": capture}, readings, IdleContext(**run.accuracies()), step.expect)


def foresee(step: MeasureIdle, outlook: Outlook) -> Forecast:
    outlook.level_v = None
    return Forecast(duration_s=step.for_s + exposure.IDLE_SPAN_S)
