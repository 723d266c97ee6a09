"""Every check that can be made before any output is switched on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.errors import PreflightRefused
from benchctl.runner import hazards
from benchctl.runner.outlook import Forecast, Outlook
from benchctl.runner.plan import PlannedStep
from benchctl.runner.run import Files
from benchctl.runner.steps import ACTIONS


@dataclass(frozen=True)
class Preflight:
    """The steps with what they are expected to take, and every hazard found."""

    plan: tuple[PlannedStep, ...]
    forecasts: tuple[Forecast, ...]
    hazards: tuple[str, ...]

    @property
    def duration_s(self) -> float:
        """The whole run without the waits whose length nobody knows."""
        return sum(forecast.duration_s for forecast in self.forecasts)

    @property
    def at_most_s(self) -> float:
        """The whole run with every open wait at its longest."""
        return sum(forecast.at_most_s or forecast.duration_s for forecast in self.forecasts)

    def refuse_hazards(self) -> None:
        """Raise PreflightRefused if there are any."""
        if self.hazards:
            raise PreflightRefused(self.hazards)


def preflight(files: Files, plan: Sequence[PlannedStep], *, unattended: bool) -> Preflight:
    """Walk through the plan on paper."""
    found = list(hazards.of_files(files, unattended=unattended))
    outlook = Outlook(files.bench, files.amplifier, unattended=unattended)
    forecasts = []
    for planned in plan:
        forecast = ACTIONS[type(planned.step)].foresee(planned.step, outlook)
        outlook.hazards += hazards.of_step(planned.step, forecast, outlook)
        found += [f"{planned.label}: {text}" for text in outlook.hazards]
        outlook.hazards.clear()
        forecasts.append(forecast)
    return Preflight(tuple(plan), tuple(forecasts), tuple(dict.fromkeys(found)))
