"""set: change load, frequency or level and leave the rest."""

from __future__ import annotations

from benchctl.documents.steps import Set
from benchctl.runner.drive import QUIET_S, RELAY_S, set_frequency, set_load, tone
from benchctl.runner.outlook import Forecast, Outlook
from benchctl.runner.run import Run


def perform(step: Set, run: Run) -> None:
    """Load first, while nothing drives it; a level drives the amplifier until the next step that mutes it."""
    if step.load_ohm is not None:
        set_load(run, step.load_ohm)
    if step.frequency_hz is not None:
        set_frequency(run, step.frequency_hz)
    if step.level_v is not None:
        run.conditions.level_v = step.level_v
        tone(run, step.level_v)


def foresee(step: Set, outlook: Outlook) -> Forecast:
    changes_load = step.load_ohm is not None and step.load_ohm != outlook.load_ohm
    if step.load_ohm is not None:
        outlook.load_ohm = step.load_ohm
    if step.frequency_hz is not None:
        outlook.frequency_hz = step.frequency_hz
    if step.level_v is not None:
        outlook.level_v = step.level_v
        return Forecast(duration_s=QUIET_S, **outlook.tone(step.level_v, for_s=QUIET_S))
    return Forecast(duration_s=QUIET_S + RELAY_S if changes_load else 0.0)
