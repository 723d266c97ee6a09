"""Which further step tells most of a quantity for its minutes and its kelvin, and what to say of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchctl.archive.folder import RunFolder
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.reader import load_kept_bench
from benchctl.documents.text.words import unknown
from benchctl.errors import MeasurementError, UsageError
from benchctl.fit.examination import Examination
from benchctl.fit.fitting import Fitted
from benchctl.fit.heat.telling import HEAT
from benchctl.fit.told import Quantity, quantities
from benchctl.further.candidates import Candidate, candidates
from benchctl.further.cost import Cost, cost_of
from benchctl.further.foreseen import Foreseen, Point, clean_level_v, reckoned_with
from benchctl.further.measurement import Measurement, measured_in
from benchctl.further.records import Foreseeing
from benchctl.further.writing import sequence_text

USEFUL = 0.95
"""So much of the uncertainty may a step leave at most to be worth its time."""

GOES_WITH_VALUE = frozenset({"reservoir", "rail_stiffness"})
"""What is reckoned with as plausible where a run does not tell it (`reckoned_with`)."""

ABOVE_ROOM_K = 20.0
"""How far above the room a heatsink is reckoned to cool, so that each kelvin costs the time in which it is lost."""

SETTING_UP_S = 30.0
"""What any step costs besides, so that a short one that tells next to nothing is not the best."""


@dataclass(frozen=True)
class Option:
    """A further step: what is expected of the quantity after it, and what it costs."""

    candidate: Candidate
    expected: Quantity
    cost: Cost
    text: str
    worth: float

    @property
    def words(self) -> str:
        """As people call it."""
        return ", then ".join(each.words for each in self.candidate)


@dataclass(frozen=True)
class Advice:
    """All of it.

    Attributes:
        now: the quantity as the run tells it.
        options: useful further steps, the best first.
        why: what stands in place of a step where there is none to advise, or '' where there is.
    """

    now: Quantity
    options: tuple[Option, ...]
    why: str

    @property
    def is_in_proportion(self) -> bool:
        """Whether only the part of the value that U will be is known beforehand: the value that was reckoned with is
        no more than plausible, and U goes with it."""
        return bool(self.now.untold) and self.now.name in GOES_WITH_VALUE

    def expected_u(self, option: Option, value: float) -> float:
        """U to expect of a step where the quantity turns out to be `value`."""
        u, reckoned = option.expected.expanded_uncertainty, option.expected.value
        return u * abs(value / reckoned) if self.is_in_proportion else u


def advise(path: Path, found: Examination, name: str) -> Advice:
    """The advice for one quantity of a run.

    Raises:
        UsageError: there is no such quantity.
        MeasurementError: there is no fit that a further step could be reckoned from.
    """
    if name in HEAT:
        raise UsageError(
            f"--next: '{name}' is told by the course of the heatsink's temperature, and these steps hardly warm it",
            advice="Give it time: a 'soak' as long as the heatsink's time constant.",
        )
    fitted = found.fitted
    if fitted is None or found.no_fit:
        raise MeasurementError(
            f"no further step can be reckoned: {found.no_fit or 'nothing was fitted'}", advice="Run 'before_and_after'."
        )
    now = worst_of([each for each in found.quantities if each.name not in HEAT], name)
    return _Advising(RunFolder.open(path), fitted, now).advice()


def worst_of(told: Sequence[Quantity], name: str) -> Quantity:
    """The quantity of that name; of one for each channel, that of the channel that is told worst."""
    same = [quantity for quantity in told if quantity.name == name]
    if not same:
        raise UsageError(f"--next: {unknown(name, list(dict.fromkeys(each.name for each in told)), 'quantity')}")
    return max(same, key=lambda each: (bool(each.untold), _relative(each)))


class _Advising:
    def __init__(self, folder: RunFolder, fitted: Fitted, now: Quantity) -> None:
        self._fitted, self._now = fitted, now
        self._amplifier: Amplifier = fitted.run.amplifier
        self._bench: Bench = load_kept_bench(folder.kept_input("bench.yaml"), folder.kept_drivers)
        self._foreseeing = Foreseeing(folder, fitted.run, self._bench)
        self._measured = measured_in(fitted.run.takes, self._amplifier.channels)

    def advice(self) -> Advice:
        """Everything."""
        asked = candidates(tuple(self._measured), self._amplifier, self._bench)
        foreseen = Foreseen(self._fitted, quantities(self._fitted), (*self._known(), *self._new(asked)))
        before = worst_of(foreseen.told_with(self._measured), self._now.name)
        reached = [(each, self._after(foreseen, each)) for each in asked]
        telling = [(each, after) for each, after in reached if after.is_told and _is_better(after, before)]
        if not telling:
            return Advice(self._now, (), self._nothing_tells([after for _, after in reached]))
        options = [self._option(each, after, before) for each, after in telling]
        possible = sorted((each for each in options if not each.cost.hazards), key=lambda each: -each.worth)
        why = "" if possible else f"this bench cannot do what would tell it: {options[0].cost.hazards[0]}"
        return Advice(self._now, tuple(possible), why)

    def _known(self) -> list[Point]:
        return [Point(each, takes) for each, takes in self._measured.items()]

    def _new(self, asked: Sequence[Candidate]) -> list[Point]:
        values = reckoned_with(self._fitted, quantities(self._fitted))
        new = dict.fromkeys(each for candidate in asked for each in candidate)
        return [Point(each, tuple(self._foreseeing.takes(each, self._level_v(each, values)))) for each in new]

    def _level_v(self, each: Measurement, values: dict[str, float]) -> float:
        return clean_level_v(self._fitted, values, each.load_ohm, each.supply_v) if each.load_ohm else 0.0

    def _after(self, foreseen: Foreseen, candidate: Candidate) -> Quantity:
        return worst_of(foreseen.told_with((*self._measured, *candidate)), self._now.name)

    def _option(self, candidate: Candidate, after: Quantity, before: Quantity) -> Option:
        text = sequence_text(self._now.name, tuple(self._measured), candidate, self._amplifier, self._bench)
        cost = cost_of(text, self._amplifier, self._bench)
        shrinks = math.log(_relative(before) / _relative(after))
        return Option(candidate, after, cost, text, shrinks / self._price_s(cost))

    def _price_s(self, cost: Cost) -> float:
        """In seconds: those of the step, and those in which the heatsink loses again what it has gained."""
        per_k = self._amplifier.heatsink.time_constant_s / ABOVE_ROOM_K
        return SETTING_UP_S + cost.duration_s + cost.warms_k * per_k

    def _nothing_tells(self, reached: Sequence[Quantity]) -> str:
        if self._now.untold:
            reasons = dict.fromkeys(each.untold for each in reached if each.untold)
            reason = self._now.untold if self._now.untold in reasons else next(iter(reasons), self._now.untold)
            return f"no step on this bench would tell it: {reason}"
        return (
            "it is told as well as this bench can: what is left are errors that are the same in every step, as of "
            "probes, clamp and loads, and what the model itself may be off"
        )


def _is_better(after: Quantity, before: Quantity) -> bool:
    return bool(before.untold) or _relative(after) < USEFUL * _relative(before)


def _relative(quantity: Quantity) -> float:
    """U, as a part of the value where there is one."""
    size = abs(quantity.value)
    u = quantity.expanded_uncertainty
    return u / size if size > 0.0 and math.isfinite(u) else math.inf
