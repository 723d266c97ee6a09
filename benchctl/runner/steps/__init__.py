"""One small module per kind of step, and the table that finds it.

A module holds two functions: `perform(step, run)` does the step; `worst_case(step, state)` says beforehand how long it
takes and what it puts into the amplifier, the load and the supply, without touching anything.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from benchctl.documents.sequence_file import (
    bench_steps,
    measuring_steps,
    power_steps,
    signal_steps,
    steps,
    supply_steps,
)
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps import (
    check_bench,
    drive_by_hand,
    find_clean_level,
    find_lowest_supply,
    measure_burst,
    measure_continuous,
    measure_crosstalk,
    measure_damping,
    measure_dc,
    measure_distortion,
    measure_idle,
    measure_input_impedance,
    measure_intermodulation,
    measure_linearity,
    measure_noise,
    measure_points,
    measure_polarity,
    measure_response,
    measure_square,
    measure_turn_on,
    move_probe,
    note_and_prompt,
    power,
    ramp_supply,
    require,
    set,
    set_gain,
    soak,
    state_power,
    waiting,
)


@dataclass(frozen=True)
class Actions:
    """What can be done with one kind of step."""

    perform: Callable[[Any, Run], None]
    worst_case: Callable[[Any, ExpectedState], WorstCase]


ACTIONS: Mapping[type[StepBase], Actions] = {
    bench_steps.PowerOn: Actions(power.perform_on, power.worst_case_on),
    bench_steps.PowerOff: Actions(power.perform_off, power.worst_case_off),
    bench_steps.Set: Actions(set.perform, set.worst_case),
    bench_steps.MoveProbe: Actions(move_probe.perform, move_probe.worst_case),
    bench_steps.Hold: Actions(waiting.perform_hold, waiting.worst_case_hold),
    bench_steps.Cool: Actions(waiting.perform_cool, waiting.worst_case_cool),
    bench_steps.Settle: Actions(waiting.perform_settle, waiting.worst_case_settle),
    power_steps.FindCleanLevel: Actions(find_clean_level.perform, find_clean_level.worst_case),
    measuring_steps.MeasureIdle: Actions(measure_idle.perform, measure_idle.worst_case),
    power_steps.MeasureBurst: Actions(measure_burst.perform, measure_burst.worst_case),
    power_steps.MeasureContinuous: Actions(measure_continuous.perform, measure_continuous.worst_case),
    measuring_steps.MeasureCrosstalk: Actions(measure_crosstalk.perform, measure_crosstalk.worst_case),
    measuring_steps.MeasureDamping: Actions(measure_damping.perform, measure_damping.worst_case),
    measuring_steps.MeasureDc: Actions(measure_dc.perform, measure_dc.worst_case),
    measuring_steps.MeasureDistortion: Actions(measure_distortion.perform, measure_distortion.worst_case),
    measuring_steps.MeasureLinearity: Actions(measure_linearity.perform, measure_linearity.worst_case),
    measuring_steps.MeasureNoise: Actions(measure_noise.perform, measure_noise.worst_case),
    measuring_steps.MeasurePoints: Actions(measure_points.perform, measure_points.worst_case),
    measuring_steps.MeasureFilter: Actions(measure_response.perform_filter, measure_response.worst_case),
    measuring_steps.MeasureResponse: Actions(measure_response.perform_response, measure_response.worst_case),
    bench_steps.CheckBench: Actions(check_bench.perform, check_bench.worst_case),
    bench_steps.DriveByHand: Actions(drive_by_hand.perform, drive_by_hand.worst_case),
    signal_steps.MeasurePolarity: Actions(measure_polarity.perform, measure_polarity.worst_case),
    signal_steps.MeasureSquare: Actions(measure_square.perform, measure_square.worst_case),
    signal_steps.MeasureIntermodulation: Actions(measure_intermodulation.perform, measure_intermodulation.worst_case),
    signal_steps.MeasureInputImpedance: Actions(measure_input_impedance.perform, measure_input_impedance.worst_case),
    bench_steps.RampSupply: Actions(ramp_supply.perform, ramp_supply.worst_case),
    measuring_steps.SetGain: Actions(set_gain.perform, set_gain.worst_case),
    supply_steps.MeasureTurnOn: Actions(measure_turn_on.perform, measure_turn_on.worst_case),
    supply_steps.FindLowestSupply: Actions(find_lowest_supply.perform, find_lowest_supply.worst_case),
    power_steps.StatePower: Actions(state_power.perform, state_power.worst_case),
    power_steps.Soak: Actions(soak.perform, soak.worst_case),
    steps.Note: Actions(note_and_prompt.perform_note, note_and_prompt.worst_case_note),
    steps.Prompt: Actions(note_and_prompt.perform_prompt, note_and_prompt.worst_case_prompt),
    steps.Require: Actions(require.perform, require.worst_case),
}
