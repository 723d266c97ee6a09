"""The bench while somebody drives the amplifier by hand, with keys or from a program: what they can do to it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from benchctl.documents.sequence_file.bench_steps import DriveByHand, PowerOff, PowerOn
from benchctl.errors import MeasurementError
from benchctl.instruments.bursts.burst import Burst
from benchctl.measure.budget.figure import Figure
from benchctl.quantity import render
from benchctl.runner.acting.agreement import before_power
from benchctl.runner.acting.drive import load_and_frequency, mute, set_frequency, start_burst, stop_burst, tone
from benchctl.runner.acting.inputs import hazards_of_driving_alone, keep_fed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.load_change import set_load
from benchctl.runner.acting.protection import ProtectionWatch
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.load_ratings import rated_loads_on
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.supply_draw import burst_too_long_in_words
from benchctl.runner.steps.by_hand.looks import Look, look_at
from benchctl.runner.steps.find_clean_level import SETTLE_S
from benchctl.runner.steps.power import perform_off, perform_on

# A signal starts so far below the highest level, and cannot be set lower than that below it.
START_DB, LOWEST_DB = -30.0, -80.0
# What most people would begin with.
FIRST_HZ = 1000.0


@dataclass(frozen=True)
class Kept:
    """Records that were kept in the run folder, and the figures that were made of them."""

    captures: tuple[str, ...]
    figures: tuple[Figure, ...]


@dataclass
class BenchInHand:
    """What a step by hand does to the bench, each thing under the run's own rules.

    `level_v` is the level that the signal has, or will have when it is switched on. `watch` notices when the amplifier
    protects itself; it belongs to one load, frequency and kind of signal.
    """

    step: DriveByHand
    run: Run
    in_bursts: bool = False
    level_v: float = 0.0
    watch: ProtectionWatch | None = None

    def begin(self) -> None:
        """The load and the frequency that most people would begin with, and a low level."""
        if self.run.conditions.load_ohm is None:
            set_load(self.run, self.loads_ohm[0])
        if self.run.conditions.frequency_hz is None:
            first_hz = min(self.step.frequencies_hz, key=lambda each: abs(math.log(each / FIRST_HZ)))
            set_frequency(self.run, first_hz)
        self.level_v = self.highest_v() * ratio(START_DB)

    # -- what it is set to ---------------------------------------------------------------------------------------

    @property
    def is_on(self) -> bool:
        """Whether the amplifier is switched on."""
        return self.run.conditions.supply_set_v is not None

    @property
    def is_driven(self) -> bool:
        """Whether a signal drives it."""
        return self.run.conditions.level_v is not None

    @property
    def loads_ohm(self) -> tuple[float, ...]:
        """The loads that can be connected, the highest resistance first."""
        return rated_loads_on(self.run.files.bench, self.run.files.amplifier)

    def highest_v(self) -> float:
        """The highest level that is allowed at this load."""
        return level_in_v(self.run, self.step.highest, self.run.conditions.load_ohm)

    def lowest_v(self) -> float:
        """The lowest level that can be set."""
        return self.highest_v() * ratio(LOWEST_DB)

    # -- on and off ----------------------------------------------------------------------------------------------

    def switch_on(self) -> None:
        """The supply, then the turn-on lead, then the load that was connected before."""
        load_ohm = self.run.conditions.load_ohm
        step = PowerOn(voltage_v=self.step.voltage_v, current_limit_a=self.step.current_limit_a)
        perform_on(step, self.run)
        self.run.note(f"the amplifier is on, at {render(step.voltage_v, 'V')}")
        set_load(self.run, load_ohm or self.loads_ohm[0])

    def switch_off(self) -> None:
        """The signal, the amplifier, its supply and its load."""
        self.silence()
        perform_off(PowerOff(), self.run)

    # -- the signal ----------------------------------------------------------------------------------------------

    def drive(self) -> None:
        """The signal at the level that is set. Before the first one instruments are compared under a low tone."""
        run, level_v = self.run, min(self.level_v, self.highest_v())
        load_ohm, frequency_hz = load_and_frequency(run)
        if not run.has_looked:
            self.silence()
            before_power(run, level_v)
        if self.watch is None:
            self.watch = ProtectionWatch(run, load_ohm, frequency_hz)
        if self.in_bursts:
            low_v = level_v * self.step.low_level_ratio
            start_burst(run, Burst(frequency_hz, self.step.cycles, level_v, low_v, self.step.every_s), "set")
        else:
            tone(run, level_v)
        run.wait(SETTLE_S)

    def silence(self) -> None:
        """The signal off."""
        self.watch = None
        if self.is_driven and self.in_bursts:
            stop_burst(self.run)
        else:
            mute(self.run)

    def set_level(self, level_v: float) -> None:
        """The level that the generator can be set to next to this one; a signal that is on goes there."""
        self.level_v = self.run.bench.generator.settable(level_v)
        if self.is_driven:
            self.drive()

    def set_frequency(self, frequency_hz: float) -> None:
        """The signal goes on; a burst must be told anew."""
        set_frequency(self.run, frequency_hz)
        self.watch = None
        if self.is_driven:
            self.drive()

    def set_load(self, load_ohm: float) -> None:
        """Always without a signal; the highest level follows from the load, so the next signal may start lower."""
        self.silence()
        set_load(self.run, load_ohm)
        self.level_v = min(self.level_v, self.highest_v())

    def set_bursts(self, in_bursts: bool) -> None:
        """Bursts instead of a tone, or the reverse.

        Raises:
            MeasurementError: the bursts would be longer than the time from one to the next.
        """
        was_driven = self.is_driven
        self.silence()
        length_s = self.step.cycles / (self.run.conditions.frequency_hz or FIRST_HZ)
        if in_bursts and length_s >= self.step.every_s:
            raise MeasurementError(burst_too_long_in_words(self.step.cycles, length_s, self.step.every_s))
        self.in_bursts = in_bursts
        if was_driven:
            self.drive()

    def bursts_in_words(self) -> str:
        """What the bursts are like."""
        return f"bursts of {self.step.cycles} cycles every {render(self.step.every_s, 's')}"

    def drive_channels(self, channels: Sequence[str]) -> None:
        """From now on these channels are driven; the signal is off.

        Raises:
            MeasurementError: the bench cannot drive some of the channels only.
        """
        amplifier = self.run.files.amplifier
        state = ExpectedState(self.run.files.bench, amplifier, unattended=False)
        if reasons := list(hazards_of_driving_alone(state)):
            raise MeasurementError(reasons[0])
        self.silence()
        keep_fed(self.run, tuple(channels))

    # -- records -------------------------------------------------------------------------------------------------

    def take(self) -> Look:
        """A fresh record; of a steady tone the watch looks at it first."""
        bursts = self.in_bursts and self.is_driven
        look = look_at(self.run, self.step.cycles if bursts else None, self.step.every_s)
        if look.analysis == "continuous" and self.watch is not None:
            self.watch.check(look.capture, self.run.conditions.level_v or 0.0)
        return look

    def keep(self) -> Kept:
        """A fresh record in the run folder, with its figures; of bursts at a set level no figure is defined."""
        look = self.take()
        if not look.analysis:
            return Kept((self.run.recorder.keep(look.capture).name,), ())
        figures = self.run.analyse(look.analysis, look.captures, look.readings, look.context, {})
        names = (name for figure in figures for name in figure.capture.split())
        return Kept(tuple(dict.fromkeys(names)), tuple(figures))


def ratio(decibels: float) -> float:
    """The ratio of two levels that are so far apart."""
    return float(10.0 ** (decibels / 20.0))
