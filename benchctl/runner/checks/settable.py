"""Compares what a step sets with what the instrument takes, by the `limits` of its driver file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from benchctl.documents.driver_file.language.steps import SETTINGS, Range
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.quantity import render
from benchctl.runner.expected.state import ExpectedState

# Attribute of a step -> the role that sets it, and the setting.
_SET_BY: Mapping[str, tuple[str, str]] = {
    "frequency_hz": ("generator", "frequency"),
    "frequencies_hz": ("generator", "frequency"),
    "pair_hz": ("generator", "frequency"),
    "from_hz": ("generator", "frequency"),
    "to_hz": ("generator", "frequency"),
    "to_v": ("generator", "level"),
    "cycles": ("generator", "cycles"),
    "every_s": ("generator", "every"),
    "voltage_v": ("supply", "voltage"),
    "supply_v": ("supply", "voltage"),
    "current_limit_a": ("supply", "current_limit"),
    "load_ohm": ("load", "resistance"),
    "loads_ohm": ("load", "resistance"),
}


def hazards_of(step: StepBase, state: ExpectedState) -> Iterator[str]:
    """Settings of this step that an instrument does not take, by its driver file."""
    for attribute, (role, setting) in _SET_BY.items():
        limits = getattr(state.bench.drivers.get(role), "limits", {}).get(setting)
        if limits is None:
            continue
        for value in _values(getattr(step, attribute, None)):
            if not limits.least <= value <= limits.most:
                yield _refusal(role, setting, value, limits)


def _values(value: object) -> tuple[float, ...]:
    several = value if isinstance(value, tuple) else (value,)
    return tuple(float(each) for each in several if isinstance(each, int | float) and not isinstance(each, bool))


def _refusal(role: str, setting: str, value: float, limits: Range) -> str:
    unit, name = SETTINGS[role][setting], setting.replace("_", " ")
    shown, least, most = (render(each, unit) if unit else f"{each:g}" for each in (value, limits.least, limits.most))
    takes = f"is not what the {role} takes by its driver file, {least} to {most}"
    return f"{name} {shown} {takes}; change it, or 'limits' there"
