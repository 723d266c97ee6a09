"""Notices when the amplifier's own protection mutes it or reduces its gain, and decides how the step goes on.

An output is gone if its gain falls below a tenth of what it was a moment ago, or the cycles of a steady tone do within
one record: clipping takes a part of the gain, and only muting takes most of it. Between records, a supply current that
falls by half is the reason to take one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from statistics import median
from typing import Any, NoReturn

import numpy as np

from benchctl.errors import ProtectionNoticed, RequirementFailed
from benchctl.measure.analyses.fold_back_figures import FOLDED, FoldBackContext
from benchctl.measure.analyses.protection_figures import BEFORE, SILENT, ProtectionContext
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.quantity import render
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.run import Run

GONE = 0.1
# Rails that sag as they warm take a few percent; a protection that folds back takes 3 dB and more (common practice).
FOLDED_BACK = 0.8
FALLEN = 0.5
# A supply that gives less than this part of what it is set to is in its current limit, or off.
SUPPLY_THERE = 0.8
# Only tones below this are low enough to pump up the rails of a half-bridge (common practice).
PUMPS_BELOW_HZ = 200.0
# One reading is compared with the median of this many before it.
REMEMBERED = 5


@dataclass
class ProtectionWatch:
    """Watches one drive: a tone, or bursts that repeat every `every_s`, at a load and a frequency.

    `ends_run`: whether the sequence asks for the run to end if the amplifier is muted. `may_clip`: whether the drive
    goes beyond clipping, which reduces the gain as folding back does.
    """

    run: Run
    load_ohm: float
    frequency_hz: float
    every_s: float | None = None
    ends_run: bool = False
    may_clip: bool = False
    before: Capture | None = None
    has_folded_back: bool = False
    _full_gains: Mapping[str, float] = field(default_factory=dict)
    _gains: Mapping[str, float] = field(default_factory=dict)
    _currents_a: list[float] = field(default_factory=list)
    _began_s: float = 0.0

    def __post_init__(self) -> None:
        self._began_s = self.run.clock.now()

    def has_fallen(self, supply_current_a: float) -> bool:
        """Whether the supply current is less than half of what it was, which is reason enough for a record."""
        usual_a = median(self._currents_a) if len(self._currents_a) >= REMEMBERED else 0.0
        self._currents_a = [*self._currents_a[1 - REMEMBERED :], supply_current_a]
        return supply_current_a < FALLEN * usual_a

    def check_steady(self, capture: Capture, level_v: float) -> None:
        """Check a record of a steady tone, which may fall silent or come back within it.

        Raises:
            As `check`.
        """
        least_v = GONE * self.run.files.amplifier.gain_ratio * level_v
        if broken := broken_off(capture, self.frequency_hz, least_v):
            self._notice(capture, level_v, broken)
        self.check(capture, level_v)

    def check(self, capture: Capture, level_v: float) -> None:
        """Check a record of the driven outputs. If an output has folded back, that is noted once, with its figures.

        Raises:
            ProtectionNoticed: an output is gone; its figures are in the journal and the drive is muted.
            LimitTripped: an output is gone, because the supply has switched its own off.
            RequirementFailed: an output is gone, and the sequence asks for the run to end.
        """
        gains = gains_of(capture, level_v)
        gone = [channel for channel, gain in gains.items() if gain < GONE * self._gains.get(channel, 0.0)]
        if gone:
            self._notice(capture, level_v, gone)
        self._full_gains = self._full_gains or gains
        folded = [channel for channel, gain in gains.items() if gain < FOLDED_BACK * self._full_gains.get(channel, 0.0)]
        if folded and not self.has_folded_back and not self.may_clip:
            self._note_fold_back(capture, level_v, folded)
        self._gains, self.before = gains, capture

    def _note_fold_back(self, capture: Capture, level_v: float, folded: Sequence[str]) -> None:
        run, self.has_folded_back = self.run, True
        readings = {"heatsink": run.read_if_any("heatsink")}
        context = FoldBackContext(**self._circumstances(level_v))
        captures = {FOLDED: capture} | ({BEFORE: self.before} if self.before is not None else {})
        run.analyse("fold_back", captures, readings, context, {})
        run.note(
            f"the amplifier has turned output {' and '.join(folded)} down while driven with {render(level_v, 'V')}"
        )

    def _notice(self, silent: Capture, level_v: float, gone: Sequence[str]) -> NoReturn:
        run = self.run
        run.guard.check_supply_protection()
        readings = {signal: run.read_if_any(signal) for signal in ("heatsink", "supply_voltage", "supply_current")}
        mute(run)
        context = ProtectionContext(**self._circumstances(level_v))
        captures = {SILENT: silent} | ({BEFORE: self.before} if self.before is not None else {})
        run.analyse("protection", captures, readings, context, {})
        text = f"the amplifier fell silent at output {' and '.join(gone)} while driven with {render(level_v, 'V')}"
        text += ", which is not clipping"
        text += self._fallen_supply(readings["supply_voltage"]) or self._maybe_pumped()
        raise (RequirementFailed if self.ends_run else ProtectionNoticed)(text)

    def _fallen_supply(self, reads_v: Sequence[float]) -> str:
        """Says that the supply does not give the voltage that it was set to, which would mute any amplifier."""
        set_v = self.run.conditions.supply_set_v
        if not reads_v or set_v is None or reads_v[0] >= SUPPLY_THERE * set_v:
            return ""
        return f"; the supply reads {render(reads_v[0], 'V')} and is set to {render(set_v, 'V')}"

    def _maybe_pumped(self) -> str:
        """What nothing on the bench sees, but is known of such an amplifier: its rails rise under a low tone."""
        amplifier = self.run.files.amplifier
        can_pump = amplifier.amplifier_class == "D" and amplifier.outputs == "grounded"
        if not can_pump or self.frequency_hz > PUMPS_BELOW_HZ:
            return ""
        return (
            "; a low tone may have pumped up its rails: measure them while it plays, drive one channel alone, or "
            "begin at a higher frequency"
        )

    def _circumstances(self, level_v: float) -> dict[str, Any]:
        """The fields of a context: the drive, the loads, and how long it has been."""
        return {
            "frequency_hz": self.frequency_hz,
            "loads": self.run.loads(self.load_ohm),
            "level_v": level_v,
            "driven_s": self.run.clock.now() - self._began_s,
            "every_s": self.every_s,
            **self.run.accuracies(),
        }


def broken_off(capture: Capture, frequency_hz: float, least_v: float) -> list[str]:
    """The outputs of which one cycle is less than a tenth of another, which is `least_v` RMS or more."""
    samples = round(1.0 / (frequency_hz * capture.interval_s))
    cycles = capture.samples // samples if samples else 0
    if cycles < 2:
        return []
    return [channel for channel in capture.channels if _is_broken(capture, channel, samples, least_v)]


def _is_broken(capture: Capture, channel: str, samples: int, least_v: float) -> bool:
    volts = capture.traces[OUTPUT + channel].values()
    rms = np.std(volts[: len(volts) // samples * samples].reshape(-1, samples), axis=1)
    return bool(rms.max() >= least_v and rms.min() < GONE * rms.max())


def gains_of(capture: Capture, level_v: float) -> dict[str, float]:
    """RMS about the mean of each output, over the drive's level."""
    return {channel: float(np.std(capture.traces[OUTPUT + channel].values())) / level_v for channel in capture.channels}
