"""soak: a long drive, with the heatsink's final temperature predicted while it warms."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from benchctl.documents.model.criteria import Criterion
from benchctl.documents.model.limits import AMBIENT
from benchctl.documents.sequence_file.power_steps import Soak
from benchctl.errors import MeasurementError, ProtectionNoticed
from benchctl.measure.analyses.soak_figures import FIRST, LAST, SoakContext, burst_duty
from benchctl.measure.conditions import Drive
from benchctl.measure.signal.record import Capture
from benchctl.quantity import render
from benchctl.runner.acting.agreement import before_power, worst_case_look
from benchctl.runner.acting.drive import load_and_frequency
from benchctl.runner.acting.heating import KNOWN_AFTER, READ_EVERY_S, RESOLUTION_K, HeatingTrend, left_in_words
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.protection import ProtectionWatch
from benchctl.runner.acting.records.record_check import refuse_coarse_record
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.rests import rest_ratio
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.stated_time import stated_time_s
from benchctl.runner.expected.supply_draw import Bursts, SupplyDraw, burst_too_long_in_words
from benchctl.runner.expected.worst_case import Power, WorstCase
from benchctl.runner.steps.find_clean_level import distortion_band_hz, low_pass_hz
from benchctl.runner.steps.soak_drive import MOST_RAISED, SoakDrive, record_of

# However long a soak is, more readings than this tell nothing new.
MOST_READINGS = 1200
# What rounding leaves of the time is not a wait: added to a clock that stands at hours, it moves nothing.
SHORTEST_WAIT_S = 1e-3
# So often a record tells whether the outputs are still there, and what they give.
CHECK_EVERY_S = 30.0
# Of a steady tone about so many of these records are kept, so that its figures hold all through it.
MOST_KEPT = 10
# Readings of the supply fall on ever other parts of a burst's repetition: the golden section is not a multiple of any.
OFF_BEAT = 0.381966
# A soak that may end early does not before the heatsink has been seen for a minute.
SHORTEST_S = 60.0


@dataclass
class _Soaking:
    """One soak: its drive, and what was recorded and read meanwhile."""

    drive: SoakDrive
    watch: ProtectionWatch
    warming: HeatingTrend
    supply: dict[str, list[float]] = field(default_factory=lambda: {"supply_current": [], "supply_voltage": []})
    captures: dict[str, Capture] = field(default_factory=dict)
    ambient: list[float] = field(default_factory=list)
    next_check_s: float = CHECK_EVERY_S
    next_kept_s: float = CHECK_EVERY_S

    @property
    def readings(self) -> dict[str, list[float]]:
        """Everything that was read, by name."""
        return self.warming.readings | self.supply | {"ambient": self.ambient}

    def perform(self) -> None:
        """Drive until the time is over, the end is known, or the amplifier falls silent; that is a result too.

        Raises:
            RequirementFailed: it fell silent, and the sequence asks for the run to end then.
        """
        self.drive.start()
        self.drive.adjust()
        self._record(FIRST)
        try:
            self._wait()
            self._record(LAST)
        except ProtectionNoticed as noticed:
            self.drive.run.note(str(noticed))
            self._forget_the_silence()
        self.drive.stop()

    def _forget_the_silence(self) -> None:
        """The last readings, by which it was noticed, are not of the driven amplifier."""
        for values in (self.supply | self.warming.readings).values():
            del values[-1:]

    def _record(self, role: str) -> None:
        capture = self.drive.take(role)
        self.watch.check(capture, self.drive.level_v)
        self.captures[role] = capture
        self.ambient += self.drive.run.read_if_any(AMBIENT)

    def _wait(self) -> None:
        run, for_s = self.drive.run, self._for_s()
        every_s = max(READ_EVERY_S, for_s / MOST_READINGS)
        if self.drive.every_s is not None:
            every_s = (math.ceil(every_s / self.drive.every_s) + OFF_BEAT) * self.drive.every_s
        while (left_s := for_s - self.warming.elapsed_s) > SHORTEST_WAIT_S:
            run.wait(min(every_s, left_s))
            temperature_c = self.warming.read_if_watched()
            for signal, value in run.read_supply().items():
                self.supply[signal].append(value)
            self._check()
            if temperature_c is not None and self._is_over(temperature_c):
                return
            shown = "" if temperature_c is None else f"{temperature_c:.1f} degC"
            told = (shown, self.warming.end_in_words(), left_in_words(left_s))
            run.observer.progress(", ".join(filter(None, told)))

    def _for_s(self) -> float:
        """How long it lasts at most: a stated time where it should end by a temperature that nothing watches."""
        step, run = self.drive.step, self.drive.run
        stated_s = run.stated_time_s(step)
        if stated_s is None:
            return step.for_s
        run.note(f"nothing watches the heatsink: the drive ends after {render(stated_s / 60.0, 'min')} at the latest")
        return stated_s

    def _is_over(self, temperature_c: float) -> bool:
        """Whether the heatsink is as warm as it may be, or where it ends is known well enough."""
        wanted = self.drive.step.heatsink
        if wanted is not None and not wanted.holds(temperature_c):
            run, lasted, meant = self.drive.run, self.warming.elapsed_s / 60.0, self.drive.step.for_s / 60.0
            run.ends_early(
                f"the drive ends after {render(lasted, 'min', digits=3)} of {render(meant, 'min', digits=3)}: the "
                f"heatsink is at {temperature_c:.1f} degC and is to stay {wanted}"
            )
            return True
        return self.warming.look() and self._is_known()

    def _check(self) -> None:
        """Whether the amplifier still plays: now and then, and at once when a steady tone's current falls."""
        has_fallen = self.drive.every_s is None and self.watch.has_fallen(self.supply["supply_current"][-1])
        if has_fallen or self.warming.elapsed_s >= self.next_check_s:
            self.next_check_s = self.warming.elapsed_s + CHECK_EVERY_S
            if self.drive.every_s is None and self.warming.elapsed_s >= self.next_kept_s:
                self.next_kept_s = self.warming.elapsed_s + max(CHECK_EVERY_S, self._for_s() / MOST_KEPT)
                self._record(f"at {render(self.warming.elapsed_s, 's', digits=3)}")
            else:
                self.watch.check(self.drive.take("check", with_supply=False), self.drive.level_v)

    def _is_known(self) -> bool:
        until, prediction = self.drive.step.until, self.warming.prediction
        if until is None or prediction is None or self.warming.elapsed_s < SHORTEST_S:
            return False
        return prediction.is_good_to(until.bound)


def perform(step: Soak, run: Run) -> None:
    """Drive, read, predict; end when the time is over or, if asked for, once the end is known well enough.

    Raises:
        MeasurementError: no level is given and none was found for this load and frequency.
        RequirementFailed: the amplifier's protection silenced it, and the sequence asks for the run to end then.
    """
    feed(run, step.driven)
    load_ohm, frequency_hz = load_and_frequency(run)
    level = _level_and_drive(step, run, load_ohm, frequency_hz)
    cycles = cycles_of(step, frequency_hz, rest_ratio(run.files.bench, step.low_level_ratio))
    drive = SoakDrive(step, run, load_ohm, frequency_hz, *level, cycles)
    before_power(run, drive.level_v)
    ends_run = step.on_protection == "end the run"
    first_loads = run.loads(load_ohm)
    stated_s = run.stated_time_s(step)
    soaking = _Soaking(drive, ProtectionWatch(run, load_ohm, frequency_hz, drive.every_s, ends_run), HeatingTrend(run))
    soaking.perform()
    context = SoakContext(
        frequency_hz=frequency_hz,
        first_loads=first_loads,
        loads=run.loads(load_ohm),
        every_s=drive.every_s,
        low_pass_hz=low_pass_hz(run.files.amplifier, frequency_hz),
        fuse_a=run.files.amplifier.supply.fuse_a,
        heatsink_k_per_w=run.files.amplifier.heatsink_k_per_w,
        heatsink_time_constant_s=run.files.amplifier.heatsink.time_constant_s,
        resolution_k=RESOLUTION_K,
        is_cut_short=stated_s is not None and stated_s < step.for_s,
        band_hz=distortion_band_hz(frequency_hz),
        **run.accuracies(),
    )
    run.analyse("soak", soaking.captures, soaking.readings, context, _criteria(step, run, load_ohm))


def _criteria(step: Soak, run: Run, load_ohm: float) -> Mapping[str, Criterion]:
    """The step's own criteria, and under them the plate's: power and distortion that were held at rated power or more,
    with all channels driven at the nominal supply voltage."""
    if "ambient_temperature" in step.expect and not run.can_read(AMBIENT):
        run.note(f"nothing measures the air around the bench, which is to be {step.expect['ambient_temperature']}")
    rating, amplifier = run.files.amplifier.rating(load_ohm), run.files.amplifier
    if not step.adjust or step.level is None or step.level.of != "rated" or step.level.value < 1.0 or rating is None:
        return step.expect
    if run.fed != tuple(amplifier.channels) or run.conditions.supply_set_v != amplifier.supply.nominal_v:
        return step.expect
    plate = {
        "held_power": Criterion(relation="above", bound=rating.power_w, unit="W"),
        "held_thd_n": Criterion(relation="below", bound=rating.thd_n, unit="1"),
    }
    return {**plate, **step.expect}


def cycles_of(step: Soak, frequency_hz: float, rest: float) -> int | None:
    """The length of the bursts, where `rest` is the level between them over theirs; None for a steady tone.

    Raises:
        MeasurementError: no bursts have the crest factor that is asked for.
    """
    if step.crest_factor_ratio is None:
        return step.cycles
    duty = burst_duty(step.crest_factor_ratio, rest)
    return max(round(duty * step.every_s * frequency_hz), 1)


def _level_and_drive(step: Soak, run: Run, load_ohm: float, frequency_hz: float) -> tuple[float, Drive, float | None]:
    """The level, how it was found, and for which distortion."""
    if step.level is not None:
        return level_in_v(run, step.level, load_ohm), "set", None
    found = run.clean_level(load_ohm, frequency_hz)
    if found is None:
        raise MeasurementError(
            f"no clean level is known at {load_ohm:g} ohm and {frequency_hz:g} Hz; "
            "give a level, or find_clean_level before this step"
        )
    drive = found.drive_at(run.conditions.supply_set_v)
    return found.level_v, drive, found.thd_n if drive == "clean" else None


def worst_case(step: Soak, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, step.driven)
    state.level = None
    frequency_hz = state.frequency_hz or 1000.0
    if step.level is None:
        state.needs_clean_level("give a level")
    bursts = _foreseen_bursts(step, frequency_hz, state)
    refuse_coarse_record(state, record_of(frequency_hz, None if bursts is None else step.every_s), frequency_hz)
    asking_s = _asking_s(state)
    power = _power(step, state, step.for_s + asking_s, bursts)
    look_s = worst_case_look(state, step.level) + asking_s
    stated_s = _stated_s(step, state, power["draw"])
    if stated_s is not None:
        power = _power(step, state, stated_s + asking_s, bursts)
        state.hazards[:] = dict.fromkeys(state.hazards)  # each was noted for both times
        return WorstCase(look_s + stated_s, stated_s=stated_s, **power)
    if step.until is None and step.heatsink is None:
        return WorstCase(duration_s=look_s + step.for_s, **power)
    likely_s = _likely_s(step, state, power["draw"])
    shortest_s, longest_s = look_s + min(SHORTEST_S, step.for_s), look_s + step.for_s
    return WorstCase(duration_s=shortest_s, at_most_s=longest_s, likely_s=likely_s, **power)


def _asking_s(state: ExpectedState) -> float:
    """What questions to slow instruments add: the drive, the records at both ends, and the last check and readings."""
    readings_s = state.pace.ask_s("supply", 2.0) + state.pace.ask_s("thermometer")
    records_s = 2.0 * state.asking_s(with_supply=True) + state.asking_s()
    return state.pace.set_s + state.pace.switch_s + records_s + readings_s + state.temperatures_s(ambient=2)


def _power(step: Soak, state: ExpectedState, for_s: float, bursts: Bursts | None) -> Power:
    if step.level is None:
        return state.full_power(for_s=for_s, bursts=bursts)
    # What it is raised by is a ratio of voltages, and this level one of powers.
    level = replace(step.level, value=step.level.value * MOST_RAISED**2) if step.adjust else step.level
    return state.tone(level, for_s=for_s, bursts=bursts)


def _stated_s(step: Soak, state: ExpectedState, draw: SupplyDraw) -> float | None:
    """Where nothing watches the heatsink: no longer than it is expected to take to where the drive should end, unless
    the step says itself how long."""
    usual_s = stated_time_s(step, state.bench, state.amplifier)
    if usual_s is None or step.without_thermometer_s is not None:
        return usual_s
    bound_c = state.amplifier.heatsink.maximum_c if step.heatsink is None else step.heatsink.bound
    curve = state.warming(draw)
    if curve.now_c >= bound_c:
        return min(READ_EVERY_S, usual_s)
    return min(curve.reaches_s(bound_c) or usual_s, usual_s)


def _likely_s(step: Soak, state: ExpectedState, draw: SupplyDraw) -> float:
    """Until the heatsink is too warm, its end is well enough predicted, or the time is over."""
    curve, ends_s = state.warming(draw), [step.for_s]
    if step.until is not None:
        ends_s.append(max(SHORTEST_S, KNOWN_AFTER * max(curve.time_constants_s)))
    if step.heatsink is not None:
        is_too_warm = not step.heatsink.holds(curve.now_c)
        ends_s.append(READ_EVERY_S if is_too_warm else curve.reaches_s(step.heatsink.bound) or step.for_s)
    return min(ends_s)


def _foreseen_bursts(step: Soak, frequency_hz: float, state: ExpectedState) -> Bursts | None:
    """None for a steady tone, and where no bursts are as asked for, which is a hazard."""
    rest = rest_ratio(state.bench, step.low_level_ratio)
    try:
        cycles = cycles_of(step, frequency_hz, rest)
    except MeasurementError as impossible:
        state.hazard(f"{impossible}; ask for a higher crest factor, or a lower low_level")
        return None
    if cycles is None:
        return None
    burst_s = cycles / frequency_hz
    if burst_s >= step.every_s:
        state.hazard(burst_too_long_in_words(cycles, burst_s, step.every_s))
    return Bursts(min(burst_s / step.every_s, 1.0), rest, burst_s)
