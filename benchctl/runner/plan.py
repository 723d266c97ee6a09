"""Turns a sequence into its steps in order: sweeps and repeats are written out, conditions on the files are decided."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.sight import View, seen_outputs, views
from benchctl.documents.model.criteria import Criterion
from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.bench_steps import Cool, Hold, MoveProbe, Set, Settle
from benchctl.documents.sequence_file.measuring_steps import (
    MeasureDamping,
    MeasureDc,
    MeasureDistortion,
    MeasureFilter,
    MeasureIdle,
    MeasureLinearity,
    MeasureNoise,
    MeasureResponse,
    SetGain,
)
from benchctl.documents.sequence_file.power_steps import FindCleanLevel, MeasureBurst, MeasureContinuous
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.documents.sequence_file.steps import Repeat, Sweep, When
from benchctl.documents.text.words import outputs_in_words
from benchctl.quantity import render
from benchctl.runner.traits import asked_in_words, is_met

_AXIS_UNITS = {"load": "ohm", "frequency": "Hz", "supply": "V"}
# Load, frequency, level and supply voltage, as far as they are given.
Values = Mapping[str, float | Level]


@dataclass(frozen=True)
class PlannedStep:
    """One step as it will be performed.

    Attributes:
        number: its place in the file, such as `3.2` for the second step in a sweep that is the third step.
        point: the sweep's values and the turn of a repeat, in words; empty outside of them.
        step: what to do.
        only_if: criteria on figures measured before; the step is left out unless all of them hold.
    """

    number: str
    point: str
    step: StepBase
    only_if: tuple[Mapping[str, Criterion], ...] = ()

    @property
    def label(self) -> str:
        """How the step is named in the journal, the terminal and the table of figures."""
        return f"{self.number} {self.step.kind}" + (f" [{self.point}]" if self.point else "")

    @property
    def title(self) -> str:
        """What it does, in words: its kind, and what a `set` sets."""
        if isinstance(self.step, MoveProbe):
            return f"{self.step.kind} to {outputs_in_words(self.step.outputs)}"
        if not isinstance(self.step, Set):
            return self.step.kind
        driven = "" if self.step.driven is None else f"driven {_driven_in_words(self.step.driven)}"
        return f"{self.step.kind} {_joined(values_in_words(_values(self.step)), driven)}"


@dataclass(frozen=True)
class Branch:
    """Steps that belong together: the whole sequence, a sweep and each of its points, a repeat and each of its turns,
    what is done only when something holds.

    Attributes:
        number: its place in the file; empty for the whole sequence, and for what is a part of a loop.
        title: what it is, in words, such as `sweep load, frequency` or `4 ohm, 1 kHz`.
        children: its parts in the order in which they are performed.
        setting: of a sweep's point, the step that takes the bench there, before all others.
        is_loop: whether its parts are the same steps over and over.
    """

    number: str
    title: str
    children: tuple[Branch | PlannedStep, ...]
    setting: PlannedStep | None = None
    is_loop: bool = False

    def steps(self) -> Iterator[PlannedStep]:
        """Every step in it, in the order in which it is performed."""
        if self.setting is not None:
            yield self.setting
        for child in self.children:
            if isinstance(child, Branch):
                yield from child.steps()
            else:
                yield child


def outline(sequence: Sequence, amplifier: Amplifier, bench: Bench) -> Branch:
    """The sequence as it is performed on this amplifier and this bench, as a tree."""
    expansion = _Expansion(amplifier, bench, list(views(bench, amplifier)))
    steps = tuple(expansion.of(sequence.steps, "", "", ()))
    setting = expansion.first_position() if steps else None
    return Branch("", sequence.title, steps, setting)


def expand(sequence: Sequence, amplifier: Amplifier, bench: Bench) -> tuple[PlannedStep, ...]:
    """Every step in the order in which it is performed on this amplifier and this bench."""
    return tuple(outline(sequence, amplifier, bench).steps())


OnlyIf = tuple[Mapping[str, Criterion], ...]


# Steps that look at the outputs are repeated for each position of the probes if one probe serves several outputs. What
# takes long, or switches the amplifier on, is done once.
_LOOKS = (
    FindCleanLevel,
    MeasureBurst,
    MeasureContinuous,
    MeasureDamping,
    MeasureDc,
    MeasureDistortion,
    MeasureFilter,
    MeasureIdle,
    MeasureLinearity,
    MeasureNoise,
    MeasureResponse,
    SetGain,
)
# Steps that belong to the looks after them.
_WAITS = (Cool, Hold, Settle)
_Numbered = tuple[str, StepBase]


@dataclass
class _Expansion:
    """`views`: the positions of the probes, the current one first. Inside a `repeat`, which shows how something changes
    with time, the probes stay where they are. `level`: the level that was set just before, and drives until the next
    step.
    """

    amplifier: Amplifier
    bench: Bench
    views: list[View]
    repeats: int = 0
    driven: str | tuple[str, ...] | None = None
    level: Level | None = None

    def first_position(self) -> PlannedStep | None:
        """The step that asks for the probes' first position; None where no probe is moved."""
        first = views(self.bench, self.amplifier)
        return _moved("1", "", first[0], ()) if len(first) > 1 else None

    def of(self, steps: Iterable[StepBase], prefix: str, point: str, only_if: OnlyIf) -> Iterator[Branch | PlannedStep]:
        numbered = [(f"{prefix}{place}", step) for place, step in enumerate(steps, start=1)]
        for group in self._groups(numbered):
            if self._is_done_in_each_position(group):
                yield self._in_each_position(group, point, only_if)
            else:
                for number, step in group:
                    yield from self._single(number, step, point, only_if)
                    self._keep_level(step)

    def _single(self, number: str, step: StepBase, point: str, only_if: OnlyIf) -> Iterator[Branch | PlannedStep]:
        match step:
            case Sweep():
                yield self._swept(step, number, point, only_if)
            case Repeat():
                yield from self._repeated(step, number, point, only_if)
            case When():
                yield from self._conditional(step, number, point, only_if)
            case Set(driven=str() | tuple()):
                self.driven = step.driven
                yield PlannedStep(number, point, _without_each(step), only_if)
            case _ if self._drives_each(step):
                yield self._each_driven(step, number, point, only_if, seen_outputs(self.bench, self.amplifier))
            case _:
                yield PlannedStep(number, point, step, only_if)

    def _keep_level(self, step: StepBase) -> None:
        """A level that is set drives until a step mutes it, or another load is connected."""
        if not isinstance(step, Set):
            self.level = None
        elif step.level is not None or step.load_ohm is not None:
            self.level = step.level

    def _groups(self, numbered: Iterable[_Numbered]) -> Iterator[list[_Numbered]]:
        """Steps that are done together in each position of the probes: looks, with the waits before them; any other
        step by itself."""
        group: list[_Numbered] = []
        for each in numbered:
            if isinstance(each[1], _LOOKS + _WAITS):
                group.append(each)
            else:
                yield from _without_last_waits(group)
                yield [each]
                group = []
        yield from _without_last_waits(group)

    def _is_done_in_each_position(self, group: list[_Numbered]) -> bool:
        looks = any(isinstance(step, _LOOKS) for _, step in group)
        return looks and len(self.views) > 1 and not self.repeats

    def _in_each_position(self, group: list[_Numbered], point: str, only_if: OnlyIf) -> Branch:
        number, turns = group[0][0], []
        for view in self.views:
            title = outputs_in_words(view)
            at = _joined(point, title)
            # The amplifier must be silent while a person moves the probe; the look before this one has muted it.
            drives = [] if self.level is None else [PlannedStep(number, at, Set(level=self.level), only_if)]
            steps = (*drives, *self._seen_in(view, group, at, only_if))
            turns.append(Branch("", title, steps, _moved(number, point, view, only_if)))
        self.views.reverse()  # the next steps begin where the probes are
        self.level = None
        return Branch(number, "each output in turn", tuple(turns), is_loop=True)

    def _seen_in(self, view: View, group: list[_Numbered], at: str, only_if: OnlyIf) -> Iterator[Branch | PlannedStep]:
        """The steps of a group in one position; one that drives other channels alone has nothing to look at there."""
        for number, step in group:
            driven = self._driven_by(step)
            if driven == "each":
                yield self._each_driven(step, number, at, only_if, view)
            elif not isinstance(driven, tuple) or set(driven) & set(view):
                yield PlannedStep(number, at, step, only_if)

    def _driven_by(self, step: StepBase) -> str | tuple[str, ...] | None:
        """What a step drives, as it says itself or as the last `set` says; None of one that does not say."""
        return (step.driven or self.driven) if hasattr(step, "driven") else None

    def _drives_each(self, step: StepBase) -> bool:
        """Whether the step is to be performed once for each channel."""
        return self._driven_by(step) == "each"

    def _each_driven(self, step: StepBase, number: str, outer: str, only_if: OnlyIf, seen: View) -> Branch:
        turns = tuple(
            PlannedStep(
                number, _joined(outer, f"{channel} driven"), step.model_copy(update={"driven": (channel,)}), only_if
            )
            for channel in self.amplifier.channels
            if channel in seen
        )
        return Branch(number, f"{step.kind}, each channel driven in turn", turns, is_loop=True)

    def _swept(self, sweep: Sweep, number: str, outer: str, only_if: OnlyIf) -> Branch:
        points = []
        for values in sweep.points():
            title = values_in_words(values)
            point = _joined(outer, title)
            setting = PlannedStep(number, point, _setting(values), only_if)
            self._keep_level(setting.step)
            parts = tuple(self.of(sweep.steps, f"{number}.", point, only_if))
            points.append(Branch("", title, parts, setting))
        return Branch(number, f"sweep {', '.join(sweep.axes)}", tuple(points), is_loop=True)

    def _repeated(self, repeat: Repeat, number: str, outer: str, only_if: OnlyIf) -> Iterator[Branch]:
        turns = []
        for turn in range(1, repeat.times + 1):
            title = f"{turn} of {repeat.times}"
            self.repeats += 1
            parts = tuple(self.of(repeat.steps, f"{number}.", _joined(outer, title), only_if))
            self.repeats -= 1
            turns += [Branch("", title, parts)] if parts else []
        if turns:
            yield Branch(number, f"repeat {repeat.times} times", tuple(turns), is_loop=True)

    def _conditional(self, when: When, number: str, point: str, only_if: OnlyIf) -> Iterator[Branch]:
        if not is_met(when, self.bench, self.amplifier):
            return
        own = (*only_if, when.criteria) if when.criteria else only_if
        parts = tuple(self.of(when.steps, f"{number}.", point, own))
        if parts:
            yield Branch(number, f"when {asked_in_words(when)}", parts)


def _without_last_waits(group: list[_Numbered]) -> Iterator[list[_Numbered]]:
    """The group up to its last look, then each later wait by itself."""
    looks = [place for place, (_, step) in enumerate(group, start=1) if isinstance(step, _LOOKS)]
    end = looks[-1] if looks else 0
    if end:
        yield group[:end]
    yield from ([each] for each in group[end:])


def _moved(number: str, point: str, view: View, only_if: OnlyIf) -> PlannedStep:
    return PlannedStep(number, _joined(point, outputs_in_words(view)), MoveProbe(outputs=view), only_if)


def _without_each(step: Set) -> Set:
    """If each channel is driven in turn, the steps say which one; between them all are driven."""
    return step.model_copy(update={"driven": "all"}) if step.driven == "each" else step


def _joined(outer: str, inner: str) -> str:
    return ", ".join(filter(None, [outer, inner]))


def _driven_in_words(driven: str | tuple[str, ...]) -> str:
    return driven if isinstance(driven, str) else " and ".join(driven)


def values_in_words(values: Values) -> str:
    """Values of load, frequency, level and supply: `4 ohm, 1 kHz`."""
    return ", ".join(
        str(value) if isinstance(value, Level) else render(value, _AXIS_UNITS[axis]) for axis, value in values.items()
    )


def _setting(values: Values) -> Set:
    """The step that takes the bench to a point of a sweep."""
    numbers = {axis: value for axis, value in values.items() if not isinstance(value, Level)}
    level = values.get("level")
    return Set(
        load_ohm=numbers.get("load"),
        frequency_hz=numbers.get("frequency"),
        level=level if isinstance(level, Level) else None,
        supply_v=numbers.get("supply"),
    )


def _values(setting: Set) -> Values:
    """The other way round."""
    given: dict[str, float | Level | None] = {
        "load": setting.load_ohm,
        "frequency": setting.frequency_hz,
        "level": setting.level,
        "supply": setting.supply_v,
    }
    return {axis: value for axis, value in given.items() if value is not None}
