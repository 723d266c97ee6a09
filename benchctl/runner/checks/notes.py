"""Notes: useful to know before a run begins, neither a hazard nor a warning."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.documents.sequence_file.steps import Repeat, Step, Sweep, When
from benchctl.documents.text.words import listed
from benchctl.guard.limits import WATCHDOG_S
from benchctl.guard.sampler import MOST_READ_PART, SAMPLING_PERIOD_S
from benchctl.measure.budget.words import value_in_words
from benchctl.quantity import render
from benchctl.runner.acting.run import Files
from benchctl.runner.checks import time_to_safe
from benchctl.runner.expected.fitted_power import FittedPower, FittedPowers
from benchctl.runner.expected.pace import Pace
from benchctl.runner.traits import traits_in_words, unmet


def of_pace(bench: Bench, pace: Pace) -> Iterator[str]:
    """How often the guard can read a slow supply."""
    every_s = MOST_READ_PART * pace.ask_s("supply", pace.reading_questions)
    if bench.instruments.supply is not None and every_s > SAMPLING_PERIOD_S:
        answer, every = (render(seconds, "s", digits=2) for seconds in (pace.ask_s("supply"), every_s))
        yield (
            f"the supply takes {answer} for an answer, so the guard reads it about every {every}, and a limit on it "
            "trips that much later; what is faster is for the fuse and the supply's own limit"
        )


def of_calibration(bench: Bench, today: datetime.date) -> Iterator[str]:
    """Each instrument, resistor and probe whose calibration no longer counts."""
    for role, instrument in bench.instruments.items():
        if instrument.is_overdue(today):
            yield (
                f"the {role}'s calibration was due on {instrument.calibration_due}; until it is calibrated again, its "
                "stated accuracy, and every uncertainty that rests on it, is not certain"
            )
    overdue: dict[datetime.date | None, list[str]] = {}
    for what, origin in bench.origins():
        if origin.is_overdue(today):
            overdue.setdefault(origin.due, []).append(what)
    for due, names in overdue.items():
        yield (
            f"the calibration of {listed(names)} was due on {due}; until it is measured again with 'benchctl "
            "calibrate', every uncertainty that rests on it is not certain"
        )


def of_fitted(amplifier: Amplifier) -> Iterator[str]:
    """Which idle current is reckoned with, where a run of this unit has told one."""
    fitted, plate_a = amplifier.fitted, amplifier.idle_current_a
    if fitted is None or fitted.idle_current is None:
        return
    found = render(fitted.idle_current.value_a, "A", digits=3)
    stated = "no idle current is stated" if plate_a is None else f"its maker states {render(plate_a, 'A')}"
    of_run = "a simulated run" if fitted.simulated else "run"
    yield (
        f"the idle current of this unit was fitted as {found} from {of_run} {fitted.run} of {fitted.date}, and "
        f"{stated}; the higher one is reckoned with"
    )


_FILES = {"amplifier": "amplifiers", "bench": "benches"}


def of_left_out(files: Files, steps: Sequence[Step], prefix: str = "") -> Iterator[str]:
    """Steps that are for other amplifiers or benches, with what they ask for."""
    for place, step in enumerate(steps, start=1):
        number = f"{prefix}{place}"
        if isinstance(step, When) and (file := unmet(step, files.bench, files.amplifier)):
            asked = listed(list(traits_in_words(getattr(step, file))))
            kinds = listed(list(dict.fromkeys(each.kind for each in step.steps)))
            yield f"step {number} ({kinds}) is left out; it is for {_FILES[file]} with {asked}"
        elif isinstance(step, When | Sweep | Repeat):
            yield from of_left_out(files, step.steps, f"{number}.")


def of_fitted_power(powers: FittedPowers) -> Iterator[str]:
    """Which powers and currents are those of the fit, each with its uncertainty."""
    fitted = powers.amplifier.fitted
    if fitted is None or not powers.used:
        return
    each = "; ".join(_in_words(found) for found in powers.used)
    of_run = "simulated run" if fitted.simulated else "run"
    yield (
        f"what to expect of power, supply current and heat is reckoned from the fit to {of_run} {fitted.run}: {each}; "
        "every hazard is judged by the worse of plate and fit"
    )


def _in_words(found: FittedPower) -> str:
    power, current = (value_in_words(each.figure) for each in (found.power, found.current))
    at = f"{render(found.load_ohm, 'ohm')} and {render(found.supply_v, 'V')}"
    return f"at {at} a steady tone gives {power} W a channel and draws {current} A"


def of_files(files: Files) -> Iterator[str]:
    """Every note."""
    yield from of_left_out(files, files.sequence.steps)
    yield from of_fitted(files.amplifier)
    yield from of_calibration(files.bench, datetime.datetime.now(tz=datetime.UTC).date())
    yield from time_to_safe.notes_of(files.bench)
    driver = files.bench.drivers.get("supply")
    if not isinstance(driver, SupplyDriver):
        yield "the bench file has no supply, so nothing can switch the amplifier's supply off but you"
    elif driver.commands.has_watchdog:
        yield (
            "the supply has a watchdog of its own: it switches its outputs off where it hears nothing of the guard for "
            f"{render(WATCHDOG_S, 's')}"
        )
    else:
        yield (
            "the driver file names no watchdog of the supply: if the computer or the network stops, its outputs stay on"
        )
