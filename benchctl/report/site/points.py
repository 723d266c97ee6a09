"""What amplifiers are compared by: of each run the clean power by load and length, the efficiency there, the noise.

Of several channels the weakest is said, as in the sentence on a run; of several conditions, those that a plate means:
all channels driven, near 1 kHz, at the nominal voltage.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Literal

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import as_said, unit_in_words
from benchctl.measure.conditions import Conditions
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.rated_power import USUAL_LIMIT, power_rows
from benchctl.report.words.quantities import with_uncertainty

Quantity = Literal["power", "efficiency", "noise", "a_weighted_noise", "signal_to_noise"]


@dataclass(frozen=True)
class Point:
    """One compared value of a run.

    `value` and `uncertainty` are in `unit`, as people say it; `uncertainty` is 0 where it is not known. `is_value` is
    False of a bound, and of a figure on which instruments contradict each other: such a point is told and never drawn.
    `cycles` is the length of a burst, None for a steady tone; `at` are the conditions in words, without the load.
    """

    quantity: Quantity
    load_ohm: float | None
    cycles: int | None
    value: float
    uncertainty: float
    unit: str
    text: str
    is_value: bool
    at: str

    @property
    def place(self) -> tuple[Quantity, float | None, int | None]:
        """What two amplifiers must share here to be compared."""
        return self.quantity, self.load_ohm, self.cycles


_Found = tuple[Conditions, Figure]
# Quantity -> its figure, and which of several channels is the worst.
_NOISES: dict[Quantity, tuple[str, Callable[..., Figure]]] = {
    "noise": ("output_noise", max),
    "a_weighted_noise": ("output_noise_a_weighted", max),
    "signal_to_noise": ("signal_to_noise_rated", min),
}


def points_of(run_record: RunRecord) -> tuple[Point, ...]:
    """Every compared value of a run, each once."""
    return tuple(_points(run_record))


def _points(run_record: RunRecord) -> Iterator[Point]:
    amplifier = run_record.amplifier
    powers: dict[tuple[float | None, int | None], list[_Found]] = {}
    for row in power_rows(run_record.entries, amplifier):
        if row.is_clean and row.channel != TOTAL:
            for cycles, figure in row.by_length.items():
                powers.setdefault((row.conditions.load_ohm, cycles), []).append((row.conditions, figure))
    for (load_ohm, cycles), found in powers.items():
        yield _point("power", load_ohm, cycles, _worst(found, min, amplifier), amplifier)
    for load_ohm, found in _efficiencies(run_record).items():
        yield _point("efficiency", load_ohm, None, _worst(found, min, amplifier), amplifier)
    for quantity, (name, worst) in _NOISES.items():
        if found := [each for each in _found(run_record) if each[1].name == name]:
            yield _point(quantity, None, None, _worst(found, worst, amplifier), amplifier)


def _found(run_record: RunRecord) -> Iterator[_Found]:
    for entry in run_record.entries:
        for figure in entry.figures:
            yield entry.conditions_of(figure), figure


def _efficiencies(run_record: RunRecord) -> dict[float | None, list[_Found]]:
    """Of a steady tone at its clean level, by load: at other levels, and of bursts, it says something else."""
    found: dict[float | None, list[_Found]] = {}
    for conditions, figure in _found(run_record):
        if figure.name == "efficiency" and not figure.burst_cycles and conditions.drive == "clean":
            found.setdefault(conditions.load_ohm, []).append((conditions, figure))
    return found


def _worst(found: Iterable[_Found], worst: Callable[..., Figure], amplifier: Amplifier | None) -> _Found:
    """The worst of those whose conditions are nearest to what a plate means."""
    alike: dict[tuple[object, ...], list[_Found]] = {}
    for conditions, figure in found:
        alike.setdefault(_rank(conditions, amplifier), []).append((conditions, figure))
    nearest = alike[min(alike)]
    figure = worst((each for _, each in nearest), key=lambda each: each.value)
    return next(each for each in nearest if each[1] is figure)


def _rank(found: Conditions, amplifier: Amplifier | None) -> tuple[float, ...]:
    nominal_v = amplifier.supply.nominal_v if amplifier else found.supply_set_v or 0.0
    return (
        -len(found.driven),
        abs(math.log((found.frequency_hz or 1000.0) / 1000.0)),
        abs((found.supply_set_v or nominal_v) - nominal_v),
        abs((found.thd_limit or USUAL_LIMIT) - USUAL_LIMIT),
    )


def _point(
    quantity: Quantity, load_ohm: float | None, cycles: int | None, found: _Found, amplifier: Amplifier | None
) -> Point:
    conditions, figure = found
    value, uncertainty = as_said(figure)
    return Point(
        quantity,
        load_ohm,
        cycles,
        value=value,
        uncertainty=uncertainty,
        unit=unit_in_words(figure),
        text=_text(figure),
        is_value=not figure.bound and not figure.contradiction,
        at=_conditions_in_words(conditions, amplifier),
    )


def _text(figure: Figure) -> str:
    text = with_uncertainty(figure)
    return f"{text}, contradicted" if figure.contradiction else text


def _conditions_in_words(found: Conditions, amplifier: Amplifier | None) -> str:
    """Without what everybody compares by: the load, the level that was found clean, that all channels were driven."""
    all_driven = amplifier is not None and set(found.driven) == set(amplifier.channels)
    at = replace(found, load_ohm=None, level_v=None, drive="", driven=() if all_driven else found.driven)
    return str(replace(at, frequency_hz=found.in_effect.frequency_hz))
