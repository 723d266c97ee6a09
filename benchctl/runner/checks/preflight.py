"""Every check that can be made before any output is switched on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.errors import PreflightRefused
from benchctl.runner.acting.run import Files
from benchctl.runner.checks import hazards, notes, warnings
from benchctl.runner.expected.step_expectation import Expectation
from benchctl.runner.expected.worst_case import Forecast, Outlook
from benchctl.runner.plan import PlannedStep
from benchctl.runner.steps import ACTIONS


@dataclass(frozen=True)
class Preflight:
    """The steps with what they are expected to take, every hazard and every warning found.

    `forecasts` are the worst, `expectations` the likely. `accepted` is why a person goes on in spite of the warnings;
    `notes` need no answer.
    """

    plan: tuple[PlannedStep, ...]
    forecasts: tuple[Forecast, ...]
    expectations: tuple[Expectation, ...]
    hazards: tuple[str, ...]
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    accepted: str = ""

    @property
    def duration_s(self) -> float:
        """The whole run without the waits whose length nobody knows."""
        return sum(forecast.duration_s for forecast in self.forecasts)

    @property
    def expected_s(self) -> float:
        """The whole run, open waits as long as is likely."""
        return sum(expected.duration_s for expected in self.expectations)

    @property
    def at_most_s(self) -> float:
        """The whole run with every open wait at its longest."""
        return sum(forecast.at_most_s or forecast.duration_s for forecast in self.forecasts)

    def refuse_hazards(self, accepted: str = "") -> None:
        """Raise PreflightRefused if there is a hazard, or a warning that nobody has `accepted` with a reason."""
        if self.hazards:
            raise PreflightRefused(self.hazards)
        if self.warnings and not accepted.strip():
            raise PreflightRefused(
                [f"warning: {text} (--accept REASON goes on all the same)" for text in self.warnings]
            )


def preflight(files: Files, plan: Sequence[PlannedStep], *, unattended: bool) -> Preflight:
    """Walk through the plan on paper."""
    found = list(hazards.of_files(files, unattended=unattended))
    found += hazards.of_plan(plan)
    outlook = Outlook(files.bench, files.amplifier, unattended=unattended)
    forecasts: list[Forecast] = []
    expectations: list[Expectation] = []
    for planned in plan:
        forecast = ACTIONS[type(planned.step)].foresee(planned.step, outlook)
        outlook.hazards += hazards.of_step(planned.step, forecast, outlook)
        found += [f"{planned.label}: {text}" for text in outlook.hazards]
        outlook.hazards.clear()
        forecasts.append(forecast)
        expectations.append(outlook.go_through(forecast, expectations[-1].ends_s if expectations else 0.0))
    cautions = warnings.of_run(files, plan, forecasts, unattended=unattended)
    return Preflight(
        tuple(plan),
        tuple(forecasts),
        tuple(expectations),
        tuple(dict.fromkeys(found)),
        tuple(cautions),
        tuple(notes.of_files(files)),
    )
