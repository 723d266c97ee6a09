"""The search for a level, shared by the steps that need one: the object of `measure` proposes, the bench answers."""

from __future__ import annotations

import math
from collections.abc import Callable

from benchctl.archive.journal.events import SEARCH
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.sequence_file.power_steps import FindCleanLevel, MeasureBurst
from benchctl.errors import MeasurementError
from benchctl.measure.search.clean_level import AlreadyPassed, CleanLevelSearch, Found, NeverReached
from benchctl.measure.signal.distortion import Distortion
from benchctl.quantity import render
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState

Expose = Callable[[float], Distortion]


def run_search(run: Run, search: CleanLevelSearch, expose: Expose, what: str) -> float:
    """Carry a search through; return the highest level known to keep its bound, V rms.

    Args:
        expose: drives the amplifier at a level and returns the distortion there.
        what: what is searched, for notes.

    Raises:
        MeasurementError: the amplifier distorts already where the search starts.
    """
    while (level_v := search.propose()) is not None:
        distortion = expose(level_v)
        search.answer(level_v, distortion.ratio, is_bound=distortion.is_bound)
    run.recorder.event(
        SEARCH,
        step=run.planned.label,
        what=what,
        exposures=[
            {"level_v": e.level_v, "distortion": e.distortion, "is_bound": e.is_bound, "says": e.says}
            for e in search.tried_levels
        ],
    )
    match search.outcome:
        case Found(level_v=level_v):
            return level_v
        case NeverReached(level_v=level_v):
            run.note(f"{what}: distortion stays below {render(search.bound, '1')} up to {render(level_v, 'V')}")
            return level_v
        case AlreadyPassed(level_v=level_v):
            raise MeasurementError(
                f"{what}: distortion is above {render(search.bound, '1')} already at {render(level_v, 'V')}, "
                "where the search starts"
            )
    raise MeasurementError(f"{what}: the search ended without an outcome")


# Once the climb is within a step of the crossing, it takes three or four exposures to close in on it, and one more
# where a filter takes a part of the level (every shipped amplifier on the simulated bench).
CLOSING_EXPOSURES = 3.8
# These and the last of the climb draw, all together, what so many draw at full power.
NEAR_FULL_EXPOSURES = 5


def usual_exposures(step: FindCleanLevel | MeasureBurst, state: ExpectedState) -> float:
    """How many exposures a search usually takes: the one at its start, the climb by its steps, then closing in."""
    climb = min(state.rated_level_v, step.to_v) / step.from_v
    return 1 + max(0, math.ceil(math.log(climb) / math.log(step.step_ratio))) + CLOSING_EXPOSURES


def rated_level_v(amplifier: Amplifier, load_ohm: float) -> float | None:
    """The level at the input that gives rated power, V rms, where the plate has a rating for this load."""
    rating = amplifier.rating(load_ohm)
    return None if rating is None else math.sqrt(rating.power_w * load_ohm) / amplifier.gain_ratio


def search_from(
    step: FindCleanLevel | MeasureBurst, start_v: float, *, is_clean: bool = False, expected_v: float | None = None
) -> CleanLevelSearch:
    """A search for the bound of a step that starts at `start_v`."""
    return CleanLevelSearch(
        step.thd_n,
        start_v,
        step.to_v,
        step_db=20.0 * math.log10(step.step_ratio),
        start_is_clean=is_clean,
        expected_level_v=expected_v,
    )
