"""A whole bench in virtual time around the simulated amplifier, with a run on it that tests can steer."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from functools import lru_cache, partial
from pathlib import Path
from typing import Any, TypeVar

from benchctl import library
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.recorder import Recorder
from benchctl.clock import VirtualClock
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.model.model_base import Document, Source
from benchctl.documents.reader import Kind, read
from benchctl.documents.sequence_file.bench_steps import PowerOn, Set
from benchctl.documents.sequence_file.sequence import Sequence as SequenceFile
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.guard.guard import Guard
from benchctl.guard.limits import limits_of
from benchctl.instruments.bench import open_bench
from benchctl.instruments.interlock import Interlock
from benchctl.launch.simulated.description import describe
from benchctl.launch.simulated.virtual_time import let_arrive
from benchctl.measure.budget.figure import Figure
from benchctl.runner.acting.proved import Proved
from benchctl.runner.acting.run import Files, OwnHands, Run
from benchctl.runner.engine.execute import Outcome, execute, prepare
from benchctl.runner.plan import PlannedStep, expand
from benchctl.runner.steps import ACTIONS
from benchctl.simulator.bench import SimulatedBench
from tests.faults.taps import Taps

Edits = Mapping[str, str]
Event = Mapping[str, Any]
_D = TypeVar("_D", bound=Document)

ANY_LOAD = {1.0, 2.0, 3.0, 4.0, 8.0}
FEED = "OUTP:PROT:WDOG:RES"  # of the workshop's supply
POWER_ON = PowerOn(voltage_v=14.4, current_limit_a=90.0)
AT_4_OHM = Set(load_ohm=4.0, frequency_hz=1e3)
POWER_ON_LINE = "power_on: {voltage: 14.4 V, current_limit: 90 A}"


# Closed from the beginning of a run on the workshop's bench: the generator drives every input.
INPUT_RELAYS = frozenset({111, 112})


# The edit of the workshop's bench that takes the clamp off the supply's lead: only its own reading tells its current.
NO_CLAMP: Edits = {
    "  supply_current: {oscilloscope: 3, probe: {kind: current clamp, sensitivity: 10 mV/A, rating: 200 A, "
    "accuracy: 1 %}}\n": ""
}


# The edit of the HX 2150 that takes out what its plate says of both outputs bridged.
NO_BRIDGE: Edits = {
    "bridged:                              # both outputs on one load: each half sees half of it\n"
    "  - {pair: [A, B], minimum_load: 4 ohm, rated: [{load: 4 ohm, power: 500 W, thd_n: 1 %}]}\n": ""
}


def with_inputs(words: str) -> Edits:
    """The edit of the workshop's bench by which it drives an input alone in another way; without words, in none."""
    return {"inputs: {by: relay, relays: {A: 111, B: 112}}": f"inputs: {words}" if words else ""}


def shipped(shelf: library.Shelf, name: str, edits: Edits | None = None) -> str:
    """The text of a shipped document, each of `edits` made in it; one that does not apply is an error."""
    text = library.find(shelf, name).read_text(encoding="utf-8")
    for old, new in (edits or {}).items():
        assert old in text, f"{name} has no {old!r}"
        text = text.replace(old, new)
    return text


def document(text: str, kind: Kind, model: type[_D]) -> _D:
    found = _read(text, kind)
    assert isinstance(found, model)
    return found


@lru_cache(maxsize=64)  # hundreds of tests ask for the same bench and amplifier, and nobody can change a document
def _read(text: str, kind: Kind) -> Document:
    return read(Source(f"{kind}.yaml", None, text), kind)


def bench_file(edits: Edits | None = None) -> Bench:
    return document(shipped("benches", "workshop", edits), "bench", Bench)


def amplifier_file(edits: Edits | None = None) -> Amplifier:
    return document(shipped("amplifiers", "hx2150", edits), "amplifier", Amplifier)


def sequence_text(*steps: str, limits: Mapping[str, str] | None = None) -> str:
    """A sequence of steps as they are written after the dash."""
    lines = ["benchctl: sequence 1", "title: Test"]
    if limits:
        lines += ["limits:", *(f"  {signal}: {bound}" for signal, bound in limits.items())]
    return "\n".join([*lines, "steps:", *(f"  - {step}" for step in steps)]) + "\n"


def sequence_file(*steps: str, limits: Mapping[str, str] | None = None) -> SequenceFile:
    return document(sequence_text(*steps, limits=limits), "sequence", SequenceFile)


def files(
    *steps: str, limits: Mapping[str, str] | None = None, bench: Edits | None = None, amplifier: Edits | None = None
) -> Files:
    """A sequence of these steps on the workshop's bench and the HX 2150, both edited."""
    return Files(sequence_file(*steps, limits=limits), bench_file(bench), amplifier_file(amplifier))


@dataclass
class Audience:
    """Remembers what an observer is told."""

    notes: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    requests: list[str] = field(default_factory=list)
    started_steps: list[str] = field(default_factory=list)

    def step_started(self, index: int, planned: PlannedStep) -> None:
        self.started_steps.append(planned.label)

    def figures(self, planned: PlannedStep, figures: Sequence[Figure]) -> None:
        pass

    def note(self, text: str) -> None:
        self.notes.append(text)

    def progress(self, text: str) -> None:
        self.told.append(text)

    def hands_needed(self, request: str) -> None:
        self.requests.append(request)

    def answer(self, question: str) -> str:
        self.requests.append(question)
        return "as it should be"


@dataclass
class Rig:
    """One run on one simulated bench."""

    run: Run
    plan: tuple[PlannedStep, ...]
    simulated: SimulatedBench
    clock: VirtualClock
    taps: Taps
    audience: Audience

    def begin(self) -> None:
        """As before the first step: every instrument prepared, the guard watching."""
        prepare(self.run)
        self.run.guard.start()

    def commands(self) -> list[tuple[str, str]]:
        """What changes something, in the order of all wires: the steps' own words. The guard feeds the supply's
        watchdog whenever it is due, and a step knows nothing of that."""
        return [(role, text) for role, text in self.taps.commands() if text != FEED]

    def do(self, *steps: StepBase) -> None:
        """Perform steps one by one."""
        for step in steps:
            self.run.planned = PlannedStep("1", "", step)
            ACTIONS[type(step)].perform(step, self.run)

    def execute(self) -> Outcome:
        """Perform the sequence from beginning to end."""
        return execute(self.plan, self.run)

    def at(self, time_s: float, action: Callable[[], object]) -> None:
        """Do something at a time of the run's clock, whatever the runner does then."""

        def wait_and_act() -> None:
            self.clock.sleep(time_s - self.clock.now())
            action()

        self.clock.start_thread(wait_and_act, "test")

    def events(self, kind: str | None = None) -> tuple[Event, ...]:
        """The journal, or its events of one kind."""
        journal = read_journal(self.run.recorder.folder.journal)
        return journal.events if kind is None else journal.of_kind(kind)

    def figures(self, name: str) -> dict[str, Figure]:
        """The last figure of this name for each channel."""
        return {figure.channel: figure for figure in self.run.measured if figure.name == name}

    @property
    def connections(self) -> Any:
        """The simulated world as it truly is, once everything sent so far has been acted on."""
        self.simulated.settle()
        return self.simulated.physical_bench.connections


class Plugging(OwnHands):
    """A person who puts the generator's plug where it should be, and does nothing else."""

    def __init__(self, bench: Rig) -> None:
        self.bench = bench

    def plug(self, channels: Sequence[str]) -> None:
        self.bench.connections.plug(channels)


def plugs_as_asked(bench: Rig) -> None:
    bench.run.hands = Plugging(bench)


@contextmanager
def rig(
    tmp_path: Path,
    these: Files | None = None,
    *,
    addresses: Mapping[str, str] | None = None,
    takes_zeros: bool = False,
    tries_wiring: bool = False,
) -> Iterator[Rig]:
    """Open a bench for these files; `addresses` puts other instruments in the place of simulated ones.

    The oscilloscope's zeros, a record on each of its ranges, are a third of a short run's work. They are taken only
    where a test `takes_zeros`, as where the oscilloscope gives no record of them. So it is with inputs that are driven
    alone and relays that are closed alone before the first power: only where a test `tries_wiring`.
    """
    these = these or files("power_off")
    clock, taps, audience = VirtualClock(), Taps(), Audience()
    with ExitStack() as stack:
        stack.enter_context(clock.take_part())
        simulated = stack.enter_context(
            SimulatedBench(describe(these.bench, these.amplifier), clock.now, holds_answers=False)
        )
        served = {role: f"TCPIP::{host}::{port}::SOCKET" for role, (host, port) in simulated.start().items()}
        at = served | dict(addresses or {})
        taps.role_at = {address: role for role, address in at.items()}
        interlock = Interlock(clock)
        bench = stack.enter_context(
            open_bench(
                these.bench, at, interlock, clock.sleep, opener=taps.opener, owed=simulated.owed_s, now=clock.now
            )
        )
        clock.before_jumps(partial(let_arrive, bench, simulated))
        recorder = Recorder(RunFolder.create(tmp_path, "test", "amplifier", clock), clock)
        stack.callback(recorder.finish)
        bench.report_to(recorder.event)
        limits = limits_of(these.sequence, these.bench, these.amplifier)
        guard = Guard(bench, limits, clock, interlock, report=recorder.event, trend=recorder.trend)
        stack.callback(guard.stop)
        plan = expand(these.sequence, these.amplifier, these.bench)
        run = Run(these, bench, clock, interlock, guard, recorder, audience, plan[0])
        run.zeros = None if takes_zeros else {}
        if not tries_wiring:
            run.proved = Proved(paths=True, loads={*ANY_LOAD})
        yield Rig(run, plan, simulated, clock, taps, audience)
