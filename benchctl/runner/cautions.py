"""What a careful technician would ask about before beginning: warnings, which a person may wave through with a reason.

What is plainly unsafe or impossible is a hazard and no warning; nothing waves that through.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from benchctl.documents.bench_steps import PowerOff, PowerOn, RampSupply
from benchctl.documents.instruments import RelayBank
from benchctl.quantity import render
from benchctl.runner.outlook import Forecast
from benchctl.runner.plan import PlannedStep
from benchctl.runner.run import Files


def of_run(
    files: Files, plan: Sequence[PlannedStep], forecasts: Sequence[Forecast], *, unattended: bool
) -> Iterator[str]:
    """Every warning."""
    yield from _left_on(plan)
    if unattended:
        yield from _unwatched(files)
    yield from _overloads(files, plan, forecasts)


def _left_on(plan: Sequence[PlannedStep]) -> Iterator[str]:
    switching = [planned.step for planned in plan if isinstance(planned.step, PowerOn | RampSupply | PowerOff)]
    if switching and isinstance(switching[-1], PowerOn | RampSupply):
        yield "the sequence ends with the amplifier on; with 'power_off' at its end it sleeps before its supply goes"


def _unwatched(files: Files) -> Iterator[str]:
    """The heatsink is always watched, for the amplifier file limits it; a short shows in the current first."""
    if files.sequence.limits.supply_current is None and files.bench.limits.supply_current is None:
        yield "nobody is there, and neither sequence nor bench limits supply_current"


def _overloads(files: Files, plan: Sequence[PlannedStep], forecasts: Sequence[Forecast]) -> Iterator[str]:
    """A wirewound resistor bears some seconds above its rating; whether yours does is for you to say."""
    bank = files.bench.instruments.load
    if not isinstance(bank, RelayBank):
        return
    for planned, forecast in zip(plan, forecasts, strict=True):
        ratings = [r.rated_power_w for r in bank.resistors if r.nominal_ohm == forecast.load_ohm]
        rated_w = min(ratings, default=math.inf)
        if forecast.load_w > rated_w:
            yield (
                f"{planned.label}: {render(forecast.load_w, 'W')} for {render(forecast.for_s, 's')} is above a load "
                f"resistor's rating of {render(rated_w, 'W')}, if not for long"
            )
