"""measure_points: what the multimeter reads at points of the bench file, such as bias, rails and mains."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import fmean

from benchctl.documents.bench_file.instruments import Multimeter
from benchctl.documents.bench_file.multimeter import UNITS, Point, key_for
from benchctl.documents.sequence_file.measuring_steps import MeasurePoints
from benchctl.documents.text.words import listed
from benchctl.errors import GarbledAnswer
from benchctl.measure.analyses.point_figures import PointsContext
from benchctl.quantity import render
from benchctl.runner.acting.contexts import point_accuracies
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase

RESISTANCE = "resistance"
OVER_RANGE = 1.25
"""How far a reading may lie beyond a range: most show up to 1.2 times its name (common practice)."""


def perform(step: MeasurePoints, run: Run) -> None:
    """One point after the other, without a signal. One that cannot be read is told, and gives no figure."""
    multimeter = run.files.bench.instruments.multimeter
    assert multimeter is not None
    if run.bench.has("generator"):
        mute(run)
    points = chosen(step, multimeter, is_on=run.conditions.supply_set_v is not None)
    readings = {name: _readings(name, point, step, run) for name, point in points.items()}
    accuracies = point_accuracies(multimeter)
    context = PointsContext(
        quantities={name: key_for(point.measures) for name, point in points.items()},
        readings_accuracy={name: accuracies[name] for name in points},
    )
    for name, values in readings.items():
        _tell_of_nothing(name, points[name], values, accuracies[name][0].zero_limit(), run)
    run.analyse("points", {}, readings, context, step.expect)


def _tell_of_nothing(name: str, point: Point, values: Sequence[float], zero_v: float, run: Run) -> None:
    """Leads that touch nothing read about 0 V, which passes for a low voltage."""
    if UNITS[point.measures] == "V" and values and abs(fmean(values)) <= zero_v:
        run.note(f"{name} reads no voltage beyond the multimeter's own error: look whether its leads touch the point")


def chosen(step: MeasurePoints, multimeter: Multimeter, *, is_on: bool) -> Mapping[str, Point]:
    """The points that the step measures, in its order. Where it names none, resistances wait until the amplifier is
    off."""
    every = multimeter.points.items()
    return {name: multimeter.points[name] for name in step.points} or {
        name: point for name, point in every if not (is_on and point.measures == RESISTANCE)
    }


def _readings(name: str, point: Point, step: MeasurePoints, run: Run) -> list[float]:
    if point.channel is None:
        _have_touched(name, point, run)
    run.wait(step.settle_s)
    try:
        readings = [run.bench.multimeter.measure(name) for _ in range(step.readings)]
    except GarbledAnswer as error:
        run.note(f"{name} could not be read: {error}")
        return []
    highest = max(map(abs, readings))
    if point.full_scale and highest > OVER_RANGE * point.full_scale:
        run.note(_beyond_range(name, highest, point))
        return []
    return readings


def _beyond_range(name: str, highest: float, point: Point) -> str:
    """The multimeter has taken a higher range by itself, and what it may be off there is not stated."""
    read, full_scale = (render(value, UNITS[point.measures]) for value in (highest, point.full_scale))
    return (
        f"{name} gives no figure: it reads {read}, beyond the range of {full_scale} that the bench file gives for it; "
        "give a higher 'range' there"
    )


def _have_touched(name: str, point: Point, run: Run) -> None:
    where = "" if point.where is None else f" ({point.where})"
    state = "on, without a signal" if run.conditions.supply_set_v is not None else "off"
    request = (
        f"Put the multimeter's leads onto {name}{where}, to measure its {point.measures}. The amplifier is {state}"
    )
    run.observer.hands_needed(request)
    run.hands.touch(name)
    run.recorder.hands(request, {})


def worst_case(step: MeasurePoints, state: ExpectedState) -> WorstCase:
    state.level = None
    multimeter = state.bench.instruments.multimeter
    if multimeter is None:
        return WorstCase(duration_s=0.0)
    if unknown := [name for name in step.points if name not in multimeter.points]:
        state.hazard(
            f"the multimeter has no point {listed(unknown)}; the bench file has {listed(list(multimeter.points))}"
        )
        return WorstCase(duration_s=0.0)
    points = chosen(step, multimeter, is_on=state.supply_v is not None)
    _look_for_hazards(points, state)
    reading_s = state.pace.ask_s("multimeter", step.readings)
    return WorstCase(duration_s=len(points) * (step.settle_s + reading_s))


def _look_for_hazards(points: Mapping[str, Point], state: ExpectedState) -> None:
    by_hand = [name for name, point in points.items() if point.channel is None]
    if by_hand and state.unattended:
        state.hazard(
            f"a person puts the multimeter's leads to {listed(by_hand)}, and nobody is present in an unattended run; "
            "be present, wire the points to a scanner, or leave the step out"
        )
    powered = [name for name, point in points.items() if point.measures == RESISTANCE]
    if powered and state.supply_v is not None:
        state.hazard(
            f"the resistance of {listed(powered)} would be measured while the amplifier is on, which gives no "
            "resistance and may damage the multimeter; measure it before 'power_on' or after 'power_off'"
        )
