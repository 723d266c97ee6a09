"""One run: the open bench, what it is set to, and where its results go. Steps work through this."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

from benchctl.archive.journal.entries import as_stored
from benchctl.archive.journal.events import BY_A_PERSON, NOTE
from benchctl.archive.recorder import Recorder
from benchctl.archive.verdicts import Earlier, NamedFigures, judged_by, reference_of
from benchctl.clock import Clock
from benchctl.documents.amplifier_file import amplifier
from benchctl.documents.bench_file import bench
from benchctl.documents.bench_file.sight import View, probes_are_moved, reads_heatsink, seen_outputs
from benchctl.documents.model.criteria import Criterion
from benchctl.documents.model.limits import AMBIENT, HEATSINK, SUPPLY_SIGNALS
from benchctl.documents.sequence_file import sequence
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.errors import GarbledAnswer, InstrumentsDisagree, LinkError
from benchctl.guard.guard import Guard
from benchctl.instruments.bench import Bench
from benchctl.instruments.bursts.burst import Burst
from benchctl.instruments.interlock import Interlock
from benchctl.measure.agreement.compared import comparisons
from benchctl.measure.agreement.comparison import Comparison, contradictions, doubted
from benchctl.measure.agreement.reliance import TOLD_ONLY
from benchctl.measure.analyses.by_step import ANALYSES
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.zero import Zeros
from benchctl.measure.conditions import UNDRIVEN, Conditions, Drive
from benchctl.measure.signal.record import Capture
from benchctl.measure.uncertainty import LoadResistance
from benchctl.runner.acting.contexts import (
    generator_accuracies,
    load_resistances,
    reading_accuracies,
    signal_accuracies,
    supply_wiring,
    zero_allowances,
)
from benchctl.runner.acting.desk import Desk
from benchctl.runner.acting.proved import Proved
from benchctl.runner.acting.rhythm import Rhythm
from benchctl.runner.expected.stated_time import stated_time_s
from benchctl.runner.plan import PlannedStep

# So often, or more often, what is watched all through a run is looked at while the run waits.
WATCHED_EVERY_S = 5.0
# Analyses at little power: a contradiction that they find ends the run before the amplifier is driven hard.
_AT_LOW_POWER = frozenset({"look", "idle"})


class Observer(Protocol):
    """Who watches a run: a terminal, a test."""

    def step_started(self, index: int, planned: PlannedStep) -> None:
        """A step begins; `index` counts from 0."""

    def figures(self, planned: PlannedStep, figures: Sequence[Figure]) -> None:
        """Figures were measured and are in the journal."""

    def note(self, text: str) -> None:
        """Something a person should know."""

    def progress(self, text: str) -> None:
        """How far a long step has come; it replaces what was said before and is not recorded."""

    def hands_needed(self, request: str) -> None:
        """Ask a person to do something, and return when it is done."""

    def answer(self, question: str) -> str:
        """Ask a person for something that goes on record."""


class Hands(Protocol):
    """What a person does to the amplifier when asked. In a dry run the program does it in the person's place."""

    def plug(self, channels: Sequence[str]) -> None:
        """Connect the generator to these inputs, and put a shorting plug into every other one."""

    def turn(self, factors: Mapping[str, float]) -> None:
        """Turn each channel's gain control until its gain has changed by this factor."""

    def load(self, nominal_ohm: float | None) -> None:
        """Connect these resistors to the outputs, and no others; None: disconnect all."""

    def probe(self, channels: Sequence[str]) -> None:
        """The probes onto these outputs."""

    def touch(self, point: str) -> None:
        """The multimeter's leads to this point."""

    def series(self, resistor_ohm: float | None) -> None:
        """A resistor in series with each input that is driven; None: no longer."""

    def capacitor(self, capacitance_f: float | None) -> None:
        """A capacitor beside each load; None: no longer."""


class OwnHands:
    """The person who was asked does it; the program does nothing."""

    def plug(self, channels: Sequence[str]) -> None:
        """Done when the person says so."""

    def turn(self, factors: Mapping[str, float]) -> None:
        """Seen in the next reading."""

    def load(self, nominal_ohm: float | None) -> None:
        """Done when the person says so."""

    def probe(self, channels: Sequence[str]) -> None:
        """Done when the person says so."""

    def touch(self, point: str) -> None:
        """Done when the person says so."""

    def series(self, resistor_ohm: float | None) -> None:
        """Done when the person says so."""

    def capacitor(self, capacitance_f: float | None) -> None:
        """Done when the person says so."""


@dataclass(frozen=True)
class Files:
    """The three documents of a run."""

    sequence: sequence.Sequence
    bench: bench.Bench
    amplifier: amplifier.Amplifier


@dataclass(frozen=True)
class CleanLevel:
    """The steady level at which distortion is the bound, V rms, with that bound and the set voltage of the supply.

    `at_least`: channel -> why it did not reach the bound at that level, and what to do. `level_u`: how well the level
    is known, as a relative standard uncertainty.
    """

    level_v: float
    thd_n: float
    supply_set_v: float | None = None
    at_least: Mapping[str, str] = field(default_factory=dict)
    level_u: float = 0.0

    def drive_at(self, supply_set_v: float | None) -> Drive:
        """What the level is called at a supply voltage. It is known to be clean only at the voltage of the search."""
        return "clean" if supply_set_v == self.supply_set_v else "set"


@dataclass(frozen=True)
class Trimming:
    """The supply's voltage is held at the amplifier's terminals: how far the supply may be set from what is asked for
    there, and the most that it may be set to."""

    most_v: float
    ceiling_v: float


@dataclass(frozen=True)
class LastRecord:
    """The newest record of the amplifier, for whoever watches; `burst` is what it is of, where that was bursts."""

    capture: Capture
    burst: Burst | None


# A load in ohm, a frequency in Hz, and the channels that are driven.
Place = tuple[float, float, tuple[str, ...]]


AfterAnalysis = Callable[[str, Any, Conditions, Sequence[Figure], Sequence[Comparison]], None]


@dataclass
class Run:
    """Everything that a step needs.

    `conditions` is what the bench is set to; only `set_to` changes it. `fed` are the channels whose inputs the
    generator feeds, `driven` those that the sequence has set to be driven where a step says nothing else.
    `clean_levels` holds what was found for a load in ohm, a frequency in Hz and the driven channels. `already` is not
    empty only in the first step of a run that is gone on with: the burst lengths that have their figures, or None for
    a step that has. `contradictions`, `has_looked`: what instruments have shown against each other in this part of the
    run, and whether they were compared at a low level. `measured_before`: how many of the figures are of earlier parts.
    `seen` are the outputs that have a probe on them now. `switch_on_again` does what switched the amplifier on.
    `zeros` are those of the oscilloscope's inputs, taken in this part of the run; None before anything was tried.
    `own_noise` are records of what noise it makes by itself, and `own_noise_unknown` says why there are none.
    `stated_s`: by the label of a step, the time that preflight has said takes the place of the heatsink's temperature.
    `named` are the figures of the steps that the sequence has given a name. `requirements`: what a figure that was
    judged must be. `early_ends`: by the label of a step, why what it drove did not last its time. `rhythm` begins
    bursts, where the generator cannot do so by itself. `trimming` is None where the supply's voltage holds at its own
    output. `desk`: where a person presses keys, if one does. `tells_all`: contradictions are collected, and the run
    goes on for now. `burst`: the bursts that the generator plays now. `last_record` is for whoever watches the run; no
    step uses it. `proved`: what this part of the run has proved of the bench's wiring. Those in `while_waiting` watch
    what the guard has read, whenever the run has waited; `after_analysis` is given each analysis once it is in the
    journal.
    """

    files: Files
    bench: Bench
    clock: Clock
    interlock: Interlock
    guard: Guard
    recorder: Recorder
    observer: Observer
    planned: PlannedStep
    hands: Hands = field(default_factory=OwnHands)
    conditions: Conditions = UNDRIVEN
    fed: tuple[str, ...] = ()
    driven: tuple[str, ...] = ()
    clean_levels: dict[Place, CleanLevel] = field(default_factory=dict)
    measured: list[Figure] = field(default_factory=list)
    already: frozenset[int | None] = frozenset()
    contradictions: list[Comparison] = field(default_factory=list)
    has_looked: bool = False
    measured_before: int = 0
    seen: View = ()
    switch_on_again: Callable[[Run], None] | None = None
    zeros: Zeros | None = None
    own_noise: list[Capture] = field(default_factory=list)
    own_noise_unknown: str = ""
    stated_s: Mapping[str, float] = field(default_factory=dict)
    named: NamedFigures = field(default_factory=dict)
    requirements: dict[Figure, str] = field(default_factory=dict)
    early_ends: dict[str, str] = field(default_factory=dict)
    rhythm: Rhythm | None = None
    trimming: Trimming | None = None
    desk: Desk | None = None
    tells_all: bool = False
    burst: Burst | None = None
    last_record: LastRecord | None = None
    proved: Proved = field(default_factory=Proved)
    while_waiting: list[Callable[[], None]] = field(default_factory=list)
    after_analysis: AfterAnalysis | None = None

    def __post_init__(self) -> None:
        bench, amplifier = self.files.bench, self.files.amplifier
        self.fed = self.fed or tuple(amplifier.channels)
        self.driven = self.driven or tuple(amplifier.channels)
        # If probes are moved by hand, nobody knows where they are before a person was asked.
        self.seen = self.seen or (() if probes_are_moved(bench, amplifier) else seen_outputs(bench, amplifier))

    # -- what the bench is set to --------------------------------------------------------------------------------

    def set_to(self, **changes: Any) -> None:
        """Keep what the bench has just been set to, by the names of `Conditions`."""
        self.conditions = replace(self.conditions, **changes)

    def set_to_drive(self, level_v: float, drive: Drive, bursts: str = "", thd_limit: float | None = None) -> None:
        """Keep that the generator drives the inputs that it feeds."""
        self.set_to(level_v=level_v, drive=drive, driven=self.fed, bursts=bursts, thd_limit=thd_limit)

    def set_to_silence(self) -> None:
        """Keep that nothing drives the amplifier."""
        self.burst = None
        self.set_to(level_v=None, drive="undriven", driven=(), bursts="", thd_limit=None)

    def _conditions_of(self, captures: Mapping[str, Capture]) -> Conditions:
        """Of an analysis: the bench is set as it is now, and was driven as in the last record that was taken."""
        last = max(captures.values(), key=lambda capture: capture.taken_s, default=None)
        now = self.conditions if last is None else self.conditions.driven_as(last.conditions)
        return now.in_effect

    # -- time --------------------------------------------------------------------------------------------------

    def wait(self, seconds: float) -> None:
        """Let time pass; a stop ends it at once.

        Raises:
            BenchctlError: the reason for which the interlock is open.
            InstrumentsDisagree: what is watched all through the run contradicts itself.
        """
        ends_s, left_s = self.clock.now() + seconds, seconds
        while self.while_waiting and left_s > WATCHED_EVERY_S:
            self._sleep(WATCHED_EVERY_S)
            self._look_at_readings()
            left_s = ends_s - self.clock.now()
        self._sleep(left_s)
        self._look_at_readings()

    def _look_at_readings(self) -> None:
        for look in self.while_waiting:
            look()

    def _sleep(self, seconds: float) -> None:
        self.clock.sleep(seconds, until=self.interlock.opened)
        self.interlock.check()

    def paced(self, every_s: float, for_s: float) -> Iterator[None]:
        """Yield at this interval for this long, by the clock; the time that an instrument takes to answer is not added.

        It yields at least once.
        """
        began_s = self.clock.now()
        last, number = max(1, round(for_s / every_s)), 1
        while number <= last:
            self.wait(began_s + number * every_s - self.clock.now())
            yield
            passed_s = self.clock.now() - began_s
            number = max(number + 1, math.ceil(passed_s / every_s - 1e-9))  # what is missed is not made up

    # -- readings ----------------------------------------------------------------------------------------------

    def read(self, signal: str) -> float:
        """One reading of the supply (`supply_voltage`, `supply_current`) or of a thermometer channel."""
        if signal in SUPPLY_SIGNALS:
            return self.read_supply()[signal]
        return self.bench.thermometer.measure(signal)

    def read_supply(self) -> dict[str, float]:
        """One reading of the supply's voltage and current, taken together, by signal."""
        return dict(zip(SUPPLY_SIGNALS, self.bench.supply.measure(self.bench.main_output), strict=True))

    def can_read(self, signal: str) -> bool:
        """Whether the bench has what reads this signal."""
        if signal in SUPPLY_SIGNALS:
            return self.bench.has("supply")
        if signal == HEATSINK and not reads_heatsink(self.files.bench, self.files.amplifier):
            return False
        return self.bench.has("thermometer") and signal in self.bench.thermometer.channels

    def stated_time_s(self, step: StepBase) -> float | None:
        """How long a step lasts that should wait for the heatsink, where nothing watches it; None of any other step."""
        usual_s = stated_time_s(step, self.files.bench, self.files.amplifier)
        return None if usual_s is None else self.stated_s.get(self.planned.label, usual_s)

    def read_if_any(self, signal: str) -> list[float]:
        """One reading in a list, or an empty list if there is no sensor or it gives no number."""
        if not self.can_read(signal):
            return []
        try:
            return [self.read(signal)]
        except (GarbledAnswer, LinkError) as error:
            self.note(f"{signal} could not be read: {error}")
            return []

    def temperatures(self) -> dict[str, list[float]]:
        """A reading of the heatsink and one of the air around the bench, as far as sensors are there."""
        return {signal: self.read_if_any(signal) for signal in (HEATSINK, AMBIENT)}

    def load_temperature_c(self) -> float | None:
        """The temperature of the load resistors, where it is measured."""
        readings = self.read_if_any("load")
        return readings[0] if readings else None

    def loads(self, nominal_ohm: float) -> dict[str, LoadResistance]:
        """What is known of the loads at the channels that are fed, as warm as they are now."""
        return load_resistances(self.files.bench, self.fed, nominal_ohm, self.load_temperature_c())

    @property
    def halves(self) -> dict[str, tuple[str, ...]]:
        """The two outputs of the pair that the sequence bridges."""
        pair = self.files.sequence.bridged
        return {} if pair is None else {"+".join(pair): pair}

    def clean_level(self, load_ohm: float, frequency_hz: float) -> CleanLevel | None:
        """What was found for these and the channels that are fed."""
        return self.clean_levels.get((load_ohm, frequency_hz, self.fed))

    # -- results -----------------------------------------------------------------------------------------------

    def analyse(
        self,
        analysis: str,
        captures: Mapping[str, Capture],
        readings: Mapping[str, Sequence[float]],
        context: Any,
        criteria: Mapping[str, Criterion],
    ) -> list[Figure]:
        """Store the captures, compute the figures, judge them, and journal all of it.

        Raises:
            MeasurementError: the records cannot give the figures; the captures are kept.
            InstrumentsDisagree: two instruments contradict each other while the amplifier takes little power.
        """
        # One record may serve in two roles; it is one file all the same.
        records = {id(capture): capture for capture in captures.values()}
        stored = {key: self.recorder.keep(capture) for key, capture in records.items()}
        kept = {role: stored[id(capture)] for role, capture in captures.items()}
        figures = ANALYSES[analysis].figures(kept, readings, context)
        compared = comparisons(analysis, kept, readings, context)
        wrong = contradictions(compared)
        conditions, name = self._conditions_of(kept), getattr(self.planned.step, "name", None) or ""
        doubtful = doubted(figures, [*self.contradictions, *wrong])
        judged = [self._judged(figure, conditions, criteria) for figure in doubtful]
        self.recorder.figures(
            self.planned.label,
            analysis,
            captures={role: capture.name for role, capture in kept.items()},
            readings=readings,
            context=context,
            conditions=conditions,
            captured={capture.name: capture.conditions for capture in kept.values()},
            figures=judged,
            comparisons=compared,
            name=name,
            criteria=criteria,
        )
        self.measured += judged
        if name:
            self.named.setdefault(name, []).extend(Earlier(as_stored(figure), conditions) for figure in judged)
        if judged:
            self.observer.figures(self.planned, judged)
        if self.after_analysis is not None:
            self.after_analysis(analysis, context, conditions, judged, compared)
        if wrong:
            self._contradicted(wrong, at_low_power=analysis in _AT_LOW_POWER)
        return judged

    def _contradicted(self, wrong: Sequence[Comparison], *, at_low_power: bool) -> None:
        """From now on figures that depend on it get no verdict, and no step drives the amplifier hard."""
        already = {(each.quantity, each.channel, each.check) for each in self.contradictions}
        self.contradictions += wrong
        first = self.measured_before
        self.measured[first:] = doubted(self.measured[first:], wrong)
        for comparison in wrong:
            if (comparison.quantity, comparison.channel, comparison.check) not in already:
                self.note(str(comparison))
        if at_low_power:
            self.check_agreement()

    def check_agreement(self, *, harmless_too: bool = False) -> None:
        """That no instrument contradicts another; what no figure and no limit depends on is told only, unless it counts
        too.

        Raises:
            InstrumentsDisagree: one does.
        """
        found = [each for each in self.contradictions if harmless_too or each.quantity not in TOLD_ONLY]
        if found and not self.tells_all:
            facts = dict.fromkeys(comparison.fact for comparison in found)
            checks = dict.fromkeys(comparison.check for comparison in found)
            raise InstrumentsDisagree("; ".join(facts), advice=f"{'. '.join(checks)}.")

    def _judged(self, figure: Figure, conditions: Conditions, criteria: Mapping[str, Criterion]) -> Figure:
        """Judge the figure as it is stored, so that the stored value gives the same verdict again."""
        criterion = criteria.get(figure.name)
        if criterion is None or figure.channel == "total":
            return figure
        reference = reference_of(figure, conditions, criterion, self.named)
        judged = replace(figure, verdict=judged_by(as_stored(figure), criterion, reference).verdict)
        self.requirements[judged] = str(criterion)
        return judged

    def ends_early(self, text: str) -> None:
        """Tell that what the step under way is to last ends before its time, and why; the last line says it again."""
        self.early_ends[self.planned.label] = text
        self.note(text)

    def note(self, text: str, **about: str) -> None:
        """Tell the person and the journal."""
        self.recorder.event(NOTE, step=self.planned.label, text=text, **about)
        self.observer.note(text)

    def note_of_a_person(self, text: str) -> None:
        """Keep what a person wrote: it is part of what was found and done."""
        self.note(text, written_by=BY_A_PERSON)

    # -- what analyses must know -------------------------------------------------------------------------------

    def accuracies(self) -> dict[str, Any]:
        """The part of every context that comes from the bench file."""
        return {
            "accuracy": signal_accuracies(self.files.bench),
            "readings_accuracy": reading_accuracies(self.files.bench),
            **generator_accuracies(self.files.bench),
            "zero_allowance": zero_allowances(self.files.bench),
            **supply_wiring(self.files.bench),
        }


def latest(figures: Iterable[Figure], name: str) -> list[Figure]:
    """The last figures of a name, one a channel and, where they hold under conditions of their own, one for each."""
    found = (figure for figure in figures if figure.name == name and figure.channel != "total")
    places = {(figure.channel, figure.load_ohm, figure.frequency_hz): figure for figure in found}
    return list(places.values())
