"""The signal of a long drive: a tone or bursts, its records, and its level set again to reach a power."""

from __future__ import annotations

import math
from dataclasses import dataclass

from benchctl.documents.sequence_file.power_steps import Soak
from benchctl.instruments.bursts.burst import Burst
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.analyses.by_step import steady_tones
from benchctl.measure.budget.figure import figure_of
from benchctl.measure.budget.signals import Signals
from benchctl.measure.conditions import Drive
from benchctl.measure.signal.record import Capture
from benchctl.measure.signal.supply import whole_cycles
from benchctl.quantity import render
from benchctl.runner.acting.drive import mute, start_burst, stop_burst, tone
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.levels import output_v
from benchctl.runner.steps.find_clean_level import SETTLE_S, steady_context, worst_of

# The bursts' recharge has become a steady one.
BURSTS_BEFORE = 2
# What a level may be raised by to reach the power that is asked for: less than amplifiers give beyond their plates.
MOST_RAISED = 10.0 ** (0.7 / 20.0)
ADJUSTMENTS = 2
# What warming resistors and rails take of the power in the course of a drive (tried on the simulated bench).
FOR_WARMING = 1.005
ADJUSTED_TO = 1e-3
# What of its uncertainty is added to a power to hold it against the one asked for, in words, and the next one in words.
_AIMS = (
    (-1.0, "the power is surely as high as asked for", "it is shown to be as high as that"),
    (0.0, "the power is shown to be as high as asked for", "it is surely no higher than that"),
    (1.0, "the power is surely no higher than asked for", ""),
)


@dataclass
class SoakDrive:
    """The soak's signal: a tone, or bursts."""

    step: Soak
    run: Run
    load_ohm: float
    frequency_hz: float
    level_v: float
    drive: Drive
    thd_limit: float | None
    cycles: int | None

    @property
    def every_s(self) -> float | None:
        """From burst to burst; None for a steady tone."""
        return self.step.every_s if self.cycles is not None else None

    def start(self) -> None:
        step, level_v = self.step, self.level_v
        if self.cycles is None:
            tone(self.run, level_v, self.drive, self.thd_limit)
            self.run.wait(SETTLE_S)
            return
        low_v = level_v * step.low_level_ratio
        burst = Burst(self.frequency_hz, self.cycles, level_v, low_v, step.every_s)
        start_burst(self.run, burst, self.drive, self.thd_limit)
        self.run.wait(BURSTS_BEFORE * step.every_s)

    def adjust(self) -> None:
        """Set the level again, where the step asks for it, until the channel that gives least surely gives what is
        asked for; by no more than the gain of a plate may be wrong.

        Instruments may know the power so badly that the amplifier distorts more than its plate allows there, whatever
        it can do. Then it is set to where the power that is shown is the one asked for, and else to where it is surely
        no more: what it distorts there counts against it, and whether it gives the power is inconclusive.
        """
        if not self.step.adjust or self.step.level is None:
            return
        wanted_w = FOR_WARMING * output_v(self.step.level, self.run.files.amplifier, self.load_ohm) ** 2 / self.load_ohm
        highest_v = self.level_v * MOST_RAISED
        rating = self.run.files.amplifier.rating(self.load_ohm)
        for surely, aim, otherwise in _AIMS:
            self._aim(wanted_w, highest_v, surely)
            if rating is None or not otherwise or (worst := self._worst_thd_n()) <= rating.thd_n:
                return
            self.run.note(
                f"at {render(self.level_v, 'V')}, where {aim}, distortion is {render(worst, '1', digits=2)}, more than "
                f"the {render(rating.thd_n, '1')} of the plate. The level is set to where {otherwise}"
            )

    def _worst_thd_n(self) -> float:
        """The distortion of the channel that distorts most, at the level that is set."""
        context = steady_context(self.run, self.load_ohm, self.frequency_hz)
        return worst_of(steady_tones(self.take("adjust", with_supply=False, fine=True), context))

    def _aim(self, wanted_w: float, highest_v: float, surely: float) -> None:
        """Until the power of the channel that gives least, and `surely` times its uncertainty, is what is wanted."""
        for _ in range(ADJUSTMENTS):
            least_w = self._least_w(self.take("adjust", with_supply=False), surely)
            wanted_v = self.run.bench.generator.settable(min(self.level_v * math.sqrt(wanted_w / least_w), highest_v))
            if math.isclose(wanted_v, self.level_v, rel_tol=ADJUSTED_TO):
                return
            self.level_v = wanted_v
            tone(self.run, wanted_v, self.drive, self.thd_limit)
            self.run.wait(SETTLE_S)

    def _least_w(self, capture: Capture, surely: float) -> float:
        """Of the channel that gives least, and `surely` times its uncertainty."""
        signals = Signals(capture, self.run.accuracies()["accuracy"], self.run.loads(self.load_ohm))
        span = whole_cycles(capture, self.frequency_hz)
        powers = [figure_of("held_power", signals.mean_power(name, span), "W") for name in signals.channels]
        return min(power.value + surely * (power.expanded_uncertainty or 0.0) for power in powers)

    def stop(self) -> None:
        if self.cycles is None:
            mute(self.run)
        else:
            stop_burst(self.run)

    def take(self, name: str, *, with_supply: bool = True, fine: bool = False) -> Capture:
        """A record of the outputs, and of the supply, of whole cycles or whole repetitions; `fine` enough that it shows
        the distortion of any amplifier."""
        signals = record_taking.driven_outputs(self.run)
        signals += record_taking.supply_signals(self.run) if with_supply else []
        switching = (with_supply or fine) and record_taking.is_switching(self.run.files.amplifier)
        record = record_of(self.frequency_hz, self.every_s, switching=switching)
        return record_taking.take(self.run, f"soak {name}", record, self.level_v, signals)


def record_of(frequency_hz: float, every_s: float | None, *, switching: bool = False) -> Record:
    """Of a steady tone, or of bursts that repeat; `switching`: where a carrier must not be folded into the figures."""
    if every_s is None:
        return record_taking.steady_record(frequency_hz, switching=switching)
    return record_taking.repetition_record(frequency_hz, every_s, switching=switching)
