"""drive_by_hand: a person drives the amplifier with keys, under the run's guard, interlock and safe state."""

from __future__ import annotations

import math

from benchctl.documents.sequence_file.bench_steps import DriveByHand
from benchctl.runner.acting.inputs import worst_case_feed
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.load_ratings import rated_loads_on, ratings_w
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import Power, WorstCase
from benchctl.runner.steps.by_hand.bench_in_hand import FIRST_HZ
from benchctl.runner.steps.by_hand.session import ByHand


def perform(step: DriveByHand, run: Run) -> None:
    """Do what the person asks for until they end it, or for as long as the step may last.

    Without a desk, as in a dry run in virtual time, there is no person, and the step ends at once.
    """
    if run.desk is None:
        run.note("a person would drive the amplifier by hand here; use 'benchctl manual' to do so")
        return
    ByHand(step, run, run.desk).go_on()


def worst_case(step: DriveByHand, state: ExpectedState) -> WorstCase:
    """The highest level that keys can set, for as long as the step may last, into the load that it strains most."""
    if state.unattended:
        state.hazard("a person drives the amplifier by hand, and nobody is present in an unattended run; be present")
    state.supply_v, state.current_limit_a = step.voltage_v, step.current_limit_a
    state.frequency_hz = state.frequency_hz or FIRST_HZ
    worst_case_feed(state, None)
    loads = rated_loads_on(state.bench, state.amplifier)
    if not loads:
        state.hazard("the bench has no load that the amplifier is rated for; add one to the bench file")
        return WorstCase(duration_s=0.0, at_most_s=step.at_most_s)
    powers = {load_ohm: _power(step, load_ohm, state) for load_ohm in loads}
    state.load_ohm = max(loads, key=lambda load_ohm: _strain(powers[load_ohm], load_ohm, state))
    return WorstCase(duration_s=0.0, at_most_s=step.at_most_s, **powers[state.load_ohm])


def _power(step: DriveByHand, load_ohm: float, state: ExpectedState) -> Power:
    state.load_ohm = load_ohm
    return state.tone(step.highest, for_s=step.at_most_s)


def _strain(power: Power, load_ohm: float, state: ExpectedState) -> float:
    """The power over what the weakest of the resistors can take."""
    ratings = ratings_w(state.bench, state.amplifier, load_ohm)
    return power["load_w"] / min(ratings.values(), default=math.inf)
