"""Who or what ended a run, as the last event of its journal that tells an end has it."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from typing import Any, Literal

from benchctl.errors import BenchctlError, LimitTripped, OperatorStop, RequirementFailed

FINISHED = "finished"

# "killed": the journal tells no end.
Ending = Literal["finished", "limit", "operator", "requirement", "failure", "killed", "running"]
_ENDINGS: Mapping[type[BenchctlError], Ending] = {
    LimitTripped: "limit",
    OperatorStop: "operator",
    RequirementFailed: "requirement",
}


def ending_of(ended: Mapping[str, Any], trips: Container[object]) -> Ending:
    """Who or what ended the run.

    Args:
        ended: the event `run ended`.
        trips: the reasons of all trips of the run.
    """
    if ended.get("reason") == FINISHED:
        return "finished"
    return _ENDINGS.get(who_ended_it(ended, trips), "failure")


def who_ended_it(ended: Mapping[str, Any], trips: Container[object]) -> type[BenchctlError]:
    """The class of the error that ended the run. The exit code of a bench that is not known to be safe hides that, so
    a trip is looked for."""
    if ended.get("reason") in trips:
        return LimitTripped
    classes: Sequence[type[BenchctlError]] = (LimitTripped, OperatorStop, RequirementFailed)
    return next((each for each in classes if each.exit_code == ended.get("exit_code")), BenchctlError)
