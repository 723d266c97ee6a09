"""measure_burst: power in bursts, at the highest clean drive and at the drive where the first cycle distorts."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Literal

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.sequence_file.power_steps import MeasureBurst
from benchctl.errors import MeasurementError, PartNotMeasured, ProtectionNoticed
from benchctl.instruments.bursts.burst import Burst
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.analyses.by_step import first_cycles, worst_cycles
from benchctl.measure.analyses.context import BurstContext
from benchctl.measure.budget.words import burst_in_words
from benchctl.measure.conditions import Drive
from benchctl.measure.signal.distortion import Heard
from benchctl.measure.signal.record import Capture
from benchctl.quantity import render
from benchctl.runner.acting.agreement import before_power, worst_case_look
from benchctl.runner.acting.drive import load_and_frequency, start_burst, stop_burst
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.protection import ProtectionWatch
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.record_check import longest_record_s, refuse_coarse_record
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.limit_reach import warn_of_short_search
from benchctl.runner.expected.rests import phase_is_free, rest_ratio
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.supply_draw import Bursts, burst_too_long_in_words
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps.find_clean_level import distortion_band_hz, expected_level_v, low_pass_hz
from benchctl.runner.steps.search import (
    NEAR_FULL_EXPOSURES,
    Exposure,
    LevelFound,
    run_search,
    search_from,
    usual_exposures,
)

# The search for the full level, from the clean level on.
FULL_EXPOSURES = 5
# Before the final record the bursts repeat this often, so that the reservoir's recharge is a steady one.
REPETITIONS_BEFORE = 2

_Metric = Callable[[Capture, BurstContext], Mapping[str, Heard]]


@dataclass(frozen=True)
class _Measurement:
    """One burst length of the step, at the present load and frequency."""

    step: MeasureBurst
    run: Run
    cycles: int
    load_ohm: float
    frequency_hz: float
    watch: ProtectionWatch

    def perform(self) -> None:
        run, step = self.run, self.step
        expected_v = expected_level_v(run, self.load_ohm)
        search = search_from(run, step, step.from_v, expected_v=expected_v)
        clean = run_search(run, search, self._expose(worst_cycles), f"clean level, {burst_in_words(self.cycles)}")
        captures = self._final("clean", clean.level_v)
        full = self._full_level(clean)
        if full.level_v == clean.level_v:
            captures |= {role.replace("clean", "full"): capture for role, capture in captures.items()}
        else:
            captures |= self._final("full", full.level_v)
        context = replace(
            self._context(),
            at_least=dict(clean.at_least),
            at_least_full=dict(full.at_least),
            level_u=clean.level_u,
            level_u_full=full.level_u,
        )
        run.analyse("burst", captures, run.temperatures(), context, step.expect)

    def _full_level(self, clean: LevelFound) -> LevelFound:
        """A single cycle is first and worst in one; and there is no more to find where the clean search had to end."""
        if self.cycles == 1 or clean.level_v >= self.step.to_v * (1.0 - 1e-9):
            return clean
        search = search_from(self.run, self.step, clean.level_v, is_clean=True)
        return run_search(self.run, search, self._expose(first_cycles), f"full level, {burst_in_words(self.cycles)}")

    def _expose(self, metric: _Metric) -> Callable[[float], Exposure]:
        context = self._context()

        def expose(level_v: float) -> Exposure:
            capture = self._take("tried", level_v)["tried"]
            return Exposure.of(metric(capture, context), level_v)

        return expose

    def _final(self, drive: Literal["clean", "full"], level_v: float) -> dict[str, Capture]:
        """By role: a whole repetition with the supply's signals and, of a class D amplifier, one burst as fine as its
        carrier asks for."""
        return self._take(drive, level_v, repetitions=REPETITIONS_BEFORE)

    def _take(self, drive: Drive, level_v: float, *, repetitions: int = 0) -> dict[str, Capture]:
        run, step = self.run, self.step
        level_v = run.bench.generator.settable(level_v)
        burst = Burst(self.frequency_hz, self.cycles, level_v, level_v * step.low_level_ratio, step.every_s)
        start_burst(run, burst, drive, None if drive == "tried" else step.thd_n)
        run.wait(repetitions * step.every_s)
        try:
            captures = {role: self._record(role, level_v) for role in self._roles(drive)}
            if drive == "tried":  # a record of another length has another RMS at the same gain
                self.watch.check(captures[drive], level_v)
        except MeasurementError:  # the run goes on, and the next step wants a steady tone
            stop_burst(run)
            raise
        stop_burst(run)
        return captures

    def _roles(self, drive: Drive) -> list[str]:
        is_fine_too = drive != "tried" and record_taking.is_switching(self.run.files.amplifier)
        return [drive, f"{drive} fine"] if is_fine_too else [drive]

    def _record(self, role: str, level_v: float) -> Capture:
        """Of a role: "clean" and "full" hold a whole repetition and the supply, the others one burst."""
        run, step = self.run, self.step
        signals = record_taking.driven_outputs(run)
        if role in ("clean", "full"):
            signals += record_taking.supply_signals(run)
            record = record_taking.repetition_record(self.frequency_hz, step.every_s)
        else:
            record = one_burst(run.files.amplifier, step, self.frequency_hz, self.cycles)
        name = "search" if role == "tried" else f"burst-{self.cycles}-{role.replace(' ', '-')}"
        return record_taking.take(run, name, record, level_v, signals)

    def _context(self) -> BurstContext:
        return BurstContext(
            frequency_hz=self.frequency_hz,
            loads=self.run.loads(self.load_ohm),
            cycles=self.cycles,
            every_s=self.step.every_s,
            low_level_ratio=rest_ratio(self.run.files.bench, self.step.low_level_ratio),
            phase_is_free=phase_is_free(self.run.files.bench),
            thd_n=self.step.thd_n,
            band_hz=distortion_band_hz(self.frequency_hz),
            low_pass_hz=low_pass_hz(self.run.files.amplifier, self.frequency_hz),
            halves=self.run.halves,
            **self.run.accuracies(),
        )


def perform(step: MeasureBurst, run: Run) -> None:
    """Each burst length in turn, each with levels of its own: short bursts deliver more. A length that gives no figures
    does not end the step, for a longer burst has more cycles to find its figures in.

    Raises:
        PartNotMeasured: one length or more gave no figures; those of the others are in the journal.
        ProtectionNoticed: the amplifier's protection silenced it; longer bursts would strain it more.
    """
    feed(run, step.driven)
    load_ohm, frequency_hz = load_and_frequency(run)
    before_power(run, step.from_v, step.to_v)
    lacking: dict[int, MeasurementError] = {}
    for cycles in step.cycles:
        if cycles in run.already:
            continue
        ends_run = step.on_protection == "end the run"
        watch = ProtectionWatch(run, load_ohm, frequency_hz, ends_run=ends_run, may_clip=True)
        try:
            _Measurement(step, run, cycles, load_ohm, frequency_hz, watch).perform()
        except ProtectionNoticed:
            raise
        except MeasurementError as reason:
            lacking[cycles] = reason
            run.guard.check_supply_protection()
            if cycles != step.cycles[-1]:
                run.note(f"no figures for bursts of {burst_in_words(cycles)}: {reason}. The next length is measured")
    if lacking:
        raise _not_measured(lacking, all_of_them=len(lacking) == len(step.cycles))


def _not_measured(lacking: Mapping[int, MeasurementError], *, all_of_them: bool) -> MeasurementError:
    """All reasons as one."""
    told = "; ".join(f"bursts of {burst_in_words(cycles)}: {reason}" for cycles, reason in lacking.items())
    return MeasurementError(told) if all_of_them else PartNotMeasured(told)


def one_burst(amplifier: Amplifier, step: MeasureBurst, frequency_hz: float, cycles: int) -> Record:
    """A record of one burst that shows its distortion."""
    switching = record_taking.is_switching(amplifier)
    return record_taking.burst_record(frequency_hz, cycles, step.every_s, switching=switching)


def worst_case(step: MeasureBurst, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, step.driven)
    state.level = None
    warn_of_short_search(step, state)
    frequency_hz = state.frequency_hz or 1000.0
    duration_s, burst_s = worst_case_look(state), 0.0
    trains: list[tuple[Bursts, float]] = []
    for cycles in step.cycles:
        length_s = cycles / frequency_hz
        if length_s >= step.every_s:
            state.hazard(burst_too_long_in_words(cycles, length_s, step.every_s))
        exposures, finals = usual_exposures(step, state), 1
        if cycles > 1:  # a single cycle is first and worst in one
            exposures, finals = exposures + FULL_EXPOSURES, 2
        _refuse_coarse_records(step, state, frequency_hz, cycles)
        asking_s = state.pace.switch_s + state.asking_s()
        record = one_burst(state.amplifier, step, frequency_hz, cycles)
        record_s = record_taking.lasts_s(record, state.bench) + asking_s
        # Each exposure waits for the next burst, a final record for one more than it repeats before, and one it holds.
        duration_s += exposures * (step.every_s + record_s + 2.5 * state.pace.set_s)
        duration_s += finals * ((REPETITIONS_BEFORE + 2) * step.every_s + state.asking_s(with_supply=True))
        fines = finals if record_taking.is_switching(state.amplifier) else 0
        duration_s += fines * (step.every_s + record_s)
        duration_s += state.temperatures_s(heatsink=1, load=finals + 1, ambient=1)
        burst_s += exposures * length_s
        near_full = (
            NEAR_FULL_EXPOSURES + (FULL_EXPOSURES if cycles > 1 else 0) + finals * (REPETITIONS_BEFORE + 2) + fines
        )
        bursts = Bursts(min(length_s / step.every_s, 1.0), rest_ratio(state.bench, step.low_level_ratio), length_s)
        trains.append((bursts, near_full * (step.every_s + asking_s)))
    return WorstCase(duration_s=duration_s, **state.full_bursts(for_s=burst_s, trains=trains))


def _refuse_coarse_records(step: MeasureBurst, state: ExpectedState, frequency_hz: float, cycles: int) -> None:
    """Of a single burst, and of a whole repetition, which is the longer one."""
    band_hz = distortion_band_hz(frequency_hz)
    whole = record_taking.repetition_record(frequency_hz, step.every_s)
    every_s = longest_record_s(state, band_hz) - 2.0 * whole.pretrigger_s
    fits = cycles / frequency_hz < every_s < step.every_s
    instead = f"give 'every: {render(every_s, 's', digits=2)}'" if fits else "use another frequency or fewer cycles"
    refuse_coarse_record(state, whole, band_hz, instead)
