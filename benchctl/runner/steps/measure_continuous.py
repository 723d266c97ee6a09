"""measure_continuous: power, distortion, supply draw and efficiency at a steady tone."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from benchctl.documents.model.criteria import Criterion
from benchctl.documents.sequence_file.power_steps import MeasureContinuous
from benchctl.errors import MeasurementError
from benchctl.measure.conditions import Drive
from benchctl.measure.signal.record import Capture
from benchctl.runner.acting.agreement import before_power, worst_case_look
from benchctl.runner.acting.drive import load_and_frequency, mute, tone
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.protection import ProtectionWatch
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.acting.terminals import readings_at_rest, record_at_rest, terminal_readings, worst_case_at_rest
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps.find_clean_level import SETTLE_S, refuse_coarse_tone, steady_context, tone_record

SAMPLE_EVERY_S = 0.25
# A tone that lasts so long may heat the amplifier until it protects itself; then there must be a record from before.
LONG_S = 10.0


@dataclass
class _Tone:
    """The steady tone, looked after while it lasts."""

    run: Run
    frequency_hz: float
    level_v: float
    watch: ProtectionWatch

    def take(self, name: str) -> Capture:
        """A record of outputs and supply; ProtectionNoticed or RequirementFailed where the outputs are gone."""
        run = self.run
        signals = [*record_taking.driven_outputs(run), *record_taking.supply_signals(run)]
        record = tone_record(run.files.amplifier, self.frequency_hz)
        taken = record_taking.take(run, name, record, self.level_v, signals)
        self.watch.check_steady(taken, self.level_v)
        return taken

    def checked(self, taken: Capture) -> dict[str, Capture]:
        """The record, and where a carrier may be folded into it another one at another sample rate."""
        run = self.run
        captures = {"continuous": taken}
        if record_taking.may_fold(run, taken):
            signals, record = record_taking.driven_outputs(run), record_taking.check_record(self.frequency_hz)
            captures["check"] = record_taking.take(run, "continuous-check", record, self.level_v, signals)
        return captures

    def hold(self, for_s: float) -> dict[str, list[float]]:
        """Let it last, and read the supply meanwhile."""
        if for_s >= LONG_S:
            self.take("before")
        readings: dict[str, list[float]] = {"supply_current": [], "supply_voltage": []}
        for _ in self.run.paced(SAMPLE_EVERY_S, for_s):
            for signal, value in self.run.read_supply().items():
                readings[signal].append(value)
            if self.watch.has_fallen(readings["supply_current"][-1]):
                self.take("check")
        return readings


def perform(step: MeasureContinuous, run: Run) -> None:
    """Hold the tone for the step's time while the supply is read, take the record, and mute.

    Raises:
        MeasurementError: no level is given, none is set, and none was found for this load and frequency; or the
            amplifier's protection silenced it.
        RequirementFailed: it did, and the sequence asks for the run to end then.
    """
    feed(run, step.driven)
    load_ohm, frequency_hz = load_and_frequency(run)
    level_v, drive = _level_and_drive(step, run, load_ohm, frequency_hz)
    before_power(run, level_v)
    watch = ProtectionWatch(run, load_ohm, frequency_hz, ends_run=step.on_protection == "end the run")
    steady = _Tone(run, frequency_hz, level_v, watch)
    rest, read_at_rest = record_at_rest(run), readings_at_rest(run)
    found = run.clean_level(load_ohm, frequency_hz) if drive == "clean" else None
    tone(run, level_v, drive, None if found is None else found.thd_n)
    run.wait(SETTLE_S)
    readings = steady.hold(step.for_s)
    captures = rest | steady.checked(steady.take("continuous"))
    readings |= read_at_rest | terminal_readings(run) | run.temperatures()
    context = steady_context(run, load_ohm, frequency_hz, found)  # the loads as warm as they are now
    mute(run)
    criteria = _criteria(step, run, load_ohm, frequency_hz) if drive == "clean" else step.expect
    run.analyse("continuous", captures, readings, context, criteria)


def _level_and_drive(step: MeasureContinuous, run: Run, load_ohm: float, frequency_hz: float) -> tuple[float, Drive]:
    """The step's own level, else the one that drives the amplifier already, else the clean one."""
    if step.level is not None:
        return level_in_v(run, step.level, load_ohm), "set"
    if run.conditions.level_v is not None:
        return run.conditions.level_v, "set"
    found = run.clean_level(load_ohm, frequency_hz)
    if found is None:
        raise MeasurementError(
            f"no clean level is known at {load_ohm:g} ohm and {frequency_hz:g} Hz; "
            "give a level, or find_clean_level before this step"
        )
    return found.level_v, found.drive_at(run.conditions.supply_set_v)


def _criteria(step: MeasureContinuous, run: Run, load_ohm: float, frequency_hz: float) -> Mapping[str, Criterion]:
    """The step's own criteria, and under them the rating: with all channels driven, at the clean level and the nominal
    supply voltage, the power must reach the plate's."""
    rating = run.files.amplifier.rating(load_ohm)
    clean = run.clean_level(load_ohm, frequency_hz)
    if run.fed != tuple(run.files.amplifier.channels):
        return step.expect
    if run.conditions.supply_set_v != run.files.amplifier.supply.nominal_v:
        return step.expect
    if rating is None or clean is None or clean.thd_n > rating.thd_n:
        return step.expect
    rated = Criterion(relation="above", bound=rating.power_w, unit="W")
    return {"continuous_power": rated, **step.expect}


def worst_case(step: MeasureContinuous, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, step.driven)
    level = step.level or state.level
    if level is None:
        state.needs_clean_level("give a level")
    refuse_coarse_tone(state, state.frequency_hz or 1000.0)
    record = tone_record(state.amplifier, state.frequency_hz or 1000.0)
    asking_s = state.pace.switch_s + state.asking_s(with_supply=True)
    lasts_s = record_taking.lasts_s(record, state.bench)
    for_s = SETTLE_S + step.for_s + lasts_s + record_taking.FETCH_S + asking_s
    power = state.full_power(for_s=for_s) if level is None else state.tone(level, for_s=for_s)
    state.level = None
    asked_s = worst_case_look(state, level) + worst_case_at_rest(state)
    asked_s += state.temperatures_s(heatsink=1, load=1, ambient=1)
    return WorstCase(duration_s=for_s + asked_s, **power)
