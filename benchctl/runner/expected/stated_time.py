"""How long steps last that wait for the heatsink, if no sensor is on it: a stated time is used instead.

After one time constant a heatsink has gone 63 % of its way, after three 95 %.
"""

from __future__ import annotations

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.sight import reads_heatsink
from benchctl.documents.sequence_file.bench_steps import Cool, Settle
from benchctl.documents.sequence_file.power_steps import Soak
from benchctl.documents.sequence_file.step_base import StepBase

COOLED = 3.0
SETTLED = 3.0
# A drive that nobody watches ends long before the heatsink is as hot as it gets.
DRIVEN = 1.0


def stated_time_s(step: StepBase, bench: Bench, amplifier: Amplifier) -> float | None:
    """The time that is used instead of the heatsink's temperature in a step; None if the step does not wait for a
    temperature, or if a sensor is there.
    """
    if reads_heatsink(bench, amplifier):
        return None
    time_constant_s = amplifier.heatsink.time_constant_s
    match step:
        case Cool():
            return step.without_thermometer_s or COOLED * time_constant_s
        case Settle() if step.heatsink is not None or step.predicted_end is not None:
            # It may be driven: no longer than was asked for.
            return min(step.without_thermometer_s or SETTLED * time_constant_s, step.timeout_s)
        case Soak() if step.heatsink is not None or step.until is not None:
            return min(step.without_thermometer_s or DRIVEN * time_constant_s, step.for_s)
        case _:
            return None
