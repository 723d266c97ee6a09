"""One small module per kind of step, and the table that finds it.

A module holds two functions: `perform(step, run)` does the step; `foresee(step, outlook)` says beforehand how long it
takes and what it puts into the amplifier, the load and the supply, without touching anything.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from benchctl.documents.sequence_file import bench_steps, measuring_steps, power_steps, steps
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.worst_case import Forecast, Outlook
from benchctl.runner.steps import (
    asides,
    find_clean_level,
    measure_burst,
    measure_continuous,
    measure_crosstalk,
    measure_damping,
    measure_dc,
    measure_idle,
    measure_noise,
    measure_response,
    power,
    ramp_supply,
    require,
    set,
    set_gain,
    soak,
    waiting,
)


@dataclass(frozen=True)
class Actions:
    """What can be done with one kind of step."""

    perform: Callable[[Any, Run], None]
    foresee: Callable[[Any, Outlook], Forecast]


ACTIONS: Mapping[type[StepBase], Actions] = {
    bench_steps.PowerOn: Actions(power.perform_on, power.foresee_on),
    bench_steps.PowerOff: Actions(power.perform_off, power.foresee_off),
    bench_steps.Set: Actions(set.perform, set.foresee),
    bench_steps.Hold: Actions(waiting.perform_hold, waiting.foresee_hold),
    bench_steps.Cool: Actions(waiting.perform_cool, waiting.foresee_cool),
    bench_steps.Settle: Actions(waiting.perform_settle, waiting.foresee_settle),
    power_steps.FindCleanLevel: Actions(find_clean_level.perform, find_clean_level.foresee),
    measuring_steps.MeasureIdle: Actions(measure_idle.perform, measure_idle.foresee),
    power_steps.MeasureBurst: Actions(measure_burst.perform, measure_burst.foresee),
    power_steps.MeasureContinuous: Actions(measure_continuous.perform, measure_continuous.foresee),
    measuring_steps.MeasureCrosstalk: Actions(measure_crosstalk.perform, measure_crosstalk.foresee),
    measuring_steps.MeasureDamping: Actions(measure_damping.perform, measure_damping.foresee),
    measuring_steps.MeasureDc: Actions(measure_dc.perform, measure_dc.foresee),
    measuring_steps.MeasureNoise: Actions(measure_noise.perform, measure_noise.foresee),
    measuring_steps.MeasureFilter: Actions(measure_response.perform_filter, measure_response.foresee),
    measuring_steps.MeasureResponse: Actions(measure_response.perform_response, measure_response.foresee),
    bench_steps.RampSupply: Actions(ramp_supply.perform, ramp_supply.foresee),
    measuring_steps.SetGain: Actions(set_gain.perform, set_gain.foresee),
    power_steps.Soak: Actions(soak.perform, soak.foresee),
    steps.Note: Actions(asides.perform_note, asides.foresee_note),
    steps.Prompt: Actions(asides.perform_prompt, asides.foresee_prompt),
    steps.Require: Actions(require.perform, require.foresee),
}
