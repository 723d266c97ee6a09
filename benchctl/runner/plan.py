"""From a sequence to a flat list of steps: sweeps and repeats written out, conditions on the files decided."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from benchctl.documents.amplifier import Amplifier
from benchctl.documents.bench import Bench, InputsByHand, InputsByRelay
from benchctl.documents.bench_steps import Set
from benchctl.documents.criteria import Criterion
from benchctl.documents.sequence import Sequence
from benchctl.documents.step_base import StepBase
from benchctl.documents.steps import AmplifierTraits, Repeat, Sweep, When
from benchctl.quantity import render

_AXIS_UNITS = {"load": "ohm", "frequency": "Hz", "level": "V", "supply": "V"}


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


def expand(sequence: Sequence, amplifier: Amplifier, bench: Bench) -> tuple[PlannedStep, ...]:
    """Every step in the order in which it is performed on this amplifier and this bench."""
    return tuple(_Expansion(amplifier, bench).of(sequence.steps, "", ""))


@dataclass(frozen=True)
class _Expansion:
    amplifier: Amplifier
    bench: Bench

    def of(self, steps: Iterable[StepBase], prefix: str, point: str) -> Iterator[PlannedStep]:
        for place, step in enumerate(steps, start=1):
            number = f"{prefix}{place}"
            match step:
                case Sweep():
                    yield from self._swept(step, number, point)
                case Repeat():
                    yield from self._repeated(step, number, point)
                case When():
                    yield from self._conditional(step, number, point)
                case _:
                    yield PlannedStep(number, point, step)

    def _swept(self, sweep: Sweep, number: str, outer: str) -> Iterator[PlannedStep]:
        for values in sweep.points():
            point = _joined(outer, _in_words(values))
            yield PlannedStep(number, point, _setting(values))
            yield from self.of(sweep.steps, f"{number}.", point)

    def _repeated(self, repeat: Repeat, number: str, outer: str) -> Iterator[PlannedStep]:
        for turn in range(1, repeat.times + 1):
            yield from self.of(repeat.steps, f"{number}.", _joined(outer, f"{turn} of {repeat.times}"))

    def _conditional(self, when: When, number: str, point: str) -> Iterator[PlannedStep]:
        if when.amplifier is not None and not _is_such(self.amplifier, when.amplifier):
            return
        if when.bench is not None and not _drives_alone(self.bench, self.amplifier, when.bench.inputs):
            return
        own = (when.criteria,) if when.criteria else ()
        for planned in self.of(when.steps, f"{number}.", point):
            yield replace(planned, only_if=(*own, *planned.only_if))


def _is_such(amplifier: Amplifier, traits: AmplifierTraits) -> bool:
    right_class = traits.amplifier_class in (None, amplifier.amplifier_class)
    right_count = traits.channels is None or traits.channels.holds(len(amplifier.channels))
    return right_class and right_count and traits.outputs in (None, amplifier.outputs)


def _drives_alone(bench: Bench, amplifier: Amplifier, by: str) -> bool:
    """Whether each of the amplifier's inputs can be driven alone in the way that is asked for."""
    match bench.inputs:
        case InputsByRelay(relays=relays):
            return by != "hand" and set(amplifier.channels) <= set(relays)
        case InputsByHand():
            return by != "relay"
        case _:
            return False


def _joined(outer: str, inner: str) -> str:
    return ", ".join(filter(None, [outer, inner]))


def _in_words(values: Mapping[str, float]) -> str:
    return ", ".join(render(value, _AXIS_UNITS[axis]) for axis, value in values.items())


def _setting(values: Mapping[str, float]) -> Set:
    """The step that takes the bench to a point of a sweep."""
    return Set(
        load_ohm=values.get("load"),
        frequency_hz=values.get("frequency"),
        level_v=values.get("level"),
        supply_v=values.get("supply"),
    )
