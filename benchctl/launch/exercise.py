"""Try every command of a bench's driver files on its instruments, real or simulated."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import partial
from pathlib import Path

from benchctl.clock import Clock, RealClock
from benchctl.documents.bench_file.bench import Bench as BenchFile
from benchctl.documents.reader import load_amplifier, load_bench
from benchctl.errors import InstrumentError, OperatorStop, UsageError
from benchctl.guard.bench_lock import bench_lock
from benchctl.instruments.bench import Bench, open_bench
from benchctl.instruments.exercise.exercise import Exercise, Plan
from benchctl.instruments.exercise.findings import Finding, Findings, Verdict
from benchctl.instruments.exercise.generator import GeneratorExercise
from benchctl.instruments.exercise.load import ElectronicExercise, RelayExercise
from benchctl.instruments.exercise.multimeter import MultimeterExercise
from benchctl.instruments.exercise.oscilloscope import OscilloscopeExercise
from benchctl.instruments.exercise.overheard import Overheard
from benchctl.instruments.exercise.supply import SupplyExercise
from benchctl.instruments.exercise.talk import Talk, lines_of
from benchctl.instruments.exercise.thermometer import ThermometerExercise
from benchctl.instruments.generator import Generator
from benchctl.instruments.interlock import Interlock
from benchctl.instruments.links.opening import Opener, open_link
from benchctl.instruments.load import ElectronicLoad, RelayBank
from benchctl.instruments.multimeter import Multimeter
from benchctl.instruments.oscilloscope.oscilloscope import Oscilloscope
from benchctl.instruments.role import Role
from benchctl.instruments.supply import Supply
from benchctl.instruments.thermometer import Thermometer
from benchctl.launch.instruments import ANY_AMPLIFIER
from benchctl.launch.simulated.virtual_time import VirtualBench, in_virtual_time

EVERY = "all"
# What a person agrees to: the plans by role; the answer is whether to go on, and whether to energise.
Agree = Callable[[Mapping[str, Plan]], "Consent"]
_EXERCISES: tuple[tuple[type[Role], type[Exercise]], ...] = (
    (Generator, GeneratorExercise),
    (Oscilloscope, OscilloscopeExercise),
    (RelayBank, RelayExercise),
    (ElectronicLoad, ElectronicExercise),
    (Supply, SupplyExercise),
    (Thermometer, ThermometerExercise),
    (Multimeter, MultimeterExercise),
)


@dataclass(frozen=True)
class Consent:
    """What a person agrees to."""

    goes_on: bool
    energises: bool = False


@dataclass(frozen=True)
class Exercised:
    """One instrument.

    Attributes:
        role: its role.
        address: where it was reached.
        file: its driver file, as errors name it.
        findings: what was found of each word.
        left_on: what is not known to be off afterwards.
        lacks: the words that the driver file does not have.
    """

    role: str
    address: str
    file: str
    findings: tuple[Finding, ...]
    left_on: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()

    @property
    def failures(self) -> tuple[Finding, ...]:
        """The commands that do not do what the driver file says."""
        return tuple(finding for finding in self.findings if finding.verdict.is_failure)


def exercise(
    bench_file: str | Path,
    chosen: str,
    agree: Agree,
    *,
    simulated: bool = False,
    amplifier: str = ANY_AMPLIFIER,
) -> list[Exercised]:
    """Try the commands of one instrument, or of all; nothing is done without agreement.

    Raises:
        DocumentError: a file is wrong.
        UsageError: the bench has no such role.
        PreflightRefused: a run uses one of the instruments.
    """
    file = load_bench(bench_file)
    roles = _roles(file, chosen)
    with _instruments(file, amplifier, simulated=simulated) as (bench, overheard, clock):
        makes = {role: partial(_exercise_for, bench, role, file, overheard, clock) for role in roles}
        consent = agree({role: make(energises=False).plan() for role, make in makes.items()})
        if not consent.goes_on:
            return []
        works = {role: make(energises=consent.energises) for role, make in makes.items()}
        is_on = [role for role, work in works.items() if _is_on(work)] if len(works) > 1 else []
        return [_exercised(role, work, file, is_on) for role, work in works.items()]


def _roles(file: BenchFile, chosen: str) -> list[str]:
    there = [role for role, _ in file.instruments.items()]
    if chosen != EVERY and chosen not in there:
        raise UsageError(f"the bench has no {chosen}; it has {', '.join(there)}")
    return there if chosen == EVERY else [chosen]


@contextmanager
def _instruments(
    file: BenchFile, amplifier: str, *, simulated: bool
) -> Iterator[tuple[Bench, Mapping[str, Overheard], Clock]]:
    """The bench, what is said to each of its instruments, and its clock."""
    with ExitStack() as stack:
        clock: Clock = RealClock()
        virtual: VirtualBench | None = None
        opener: Opener = open_link
        if simulated:
            virtual = stack.enter_context(in_virtual_time(file, load_amplifier(amplifier)))
            clock, addresses, opener = virtual.clock, virtual.addresses, virtual.open_link
        else:
            addresses = {role: entry.address for role, entry in file.instruments.items()}
            stack.enter_context(bench_lock(addresses.values()))
        overheard = {address: Overheard(clock.now, opener) for address in addresses.values()}
        bench = stack.enter_context(
            open_bench(
                file,
                addresses,
                Interlock(clock),
                clock.sleep,
                connect=False,
                opener=lambda address, settings: overheard[address].open(address, settings),
                owed=None if virtual is None else virtual.owed_s,
            )
        )
        if virtual is not None:
            virtual.serve(bench)
        yield bench, overheard, clock


def _exercise_for(
    bench: Bench, name: str, file: BenchFile, overheard: Mapping[str, Overheard], clock: Clock, *, energises: bool
) -> Exercise:
    role, driver = bench.roles[name], file.drivers[name]
    talk = Talk(role.session, driver, overheard[role.session.address], Findings(lines_of(driver)), clock.sleep)
    make = next(make for kind, make in _EXERCISES if isinstance(role, kind))
    return make(talk, role, file, energises=energises)


def _is_on(work: Exercise) -> bool:
    """Whether one of its outputs does not confirm that it is off. Then the other instruments must not switch loads or
    signals either.
    """
    try:
        return not work.says_off() and any(finding.verdict.is_failure for finding in work.talk.findings.every)
    except InstrumentError:  # its own exercise tells of that
        return False


def _stopped(work: Exercise) -> str:
    """The result after a person has stopped it. What does not answer now counts as on."""
    try:
        left_on = work.left_on()
    except InstrumentError:
        left_on = work.switched
    if left_on:
        return f"the exercise was stopped; NOT CONFIRMED OFF: {', '.join(left_on)}. Switch it off by hand, now"
    return "the exercise was stopped; what it had switched on is off again"


def _exercised(role: str, work: Exercise, file: BenchFile, is_on: Sequence[str]) -> Exercised:
    """Whatever happens, what was found until then is kept.

    `is_on`: the instruments that do not confirm that they are off. If there are any, nothing is tried.
    """
    left_on: tuple[str, ...] = ()
    findings = work.talk.findings
    try:
        if is_on and role not in is_on:
            work.leave(f"the {' and the '.join(is_on)} does not say that it is off, so nothing was sent")
        elif not is_on:
            work.run()
        left_on = work.left_on() if role in is_on or not is_on else ()
    except KeyboardInterrupt:
        raise OperatorStop(_stopped(work)) from None
    except InstrumentError as error:
        last = next(reversed(findings.by_word), "identify")
        findings.note(last, Verdict.UNSUPPORTED, f"the link failed here: {error.message}", advice=error.advice)
        left_on = work.switched
    driver = file.drivers[role]
    lacks = tuple(word for word in type(driver.commands).model_fields if not work.talk.has(word))
    return Exercised(role, work.talk.session.address, driver.source.name, findings.every, left_on, lacks)
