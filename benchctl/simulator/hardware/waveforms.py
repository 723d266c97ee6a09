"""What a probe would see: signals of the recent past, sampled.

Each sample follows from the rail at its instant, so a burst's later cycles are clipped lower than its first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from benchctl.simulator.amplifier.converter import Source
from benchctl.simulator.amplifier.filters import Filter, Phasor, Ringing
from benchctl.simulator.amplifier.output_stage import Losses, OutputStage, SwitchingStage
from benchctl.simulator.amplifier.rails.means import Step
from benchctl.simulator.hardware.history import Stretch

Samples = NDArray[np.float64]

SYNC_V = 5.0
"""High level of the generator's sync output."""


def output_v(spans: Sequence[Stretch], times_s: Samples, channel: int) -> Samples:
    """The voltage across the load of one amplifier channel (by its place in the amplifier's list), with all that is in
    it."""
    return audible_v(spans, times_s, channel) + carrier_v(spans, times_s, channel)


def carrier_v(
    spans: Sequence[Stretch], times_s: Samples, channel: int, passes: Callable[[float], float] = lambda _: 1.0
) -> Samples:
    """What of it is left of a class D carrier, behind something that passes so much of each frequency."""
    samples = np.zeros_like(times_s)
    for _, step, part in _cuts(spans, times_s):
        stage = step.circuit.stages[channel]
        if stage.live and isinstance(stage, SwitchingStage) and stage.losses.ripple_v:
            residue_v = _residue_v(stage.losses, times_s[part])
            samples[part] = stage.halves * passes(stage.losses.carrier_hz) * residue_v
    return samples


def audible_v(spans: Sequence[Stretch], times_s: Samples, channel: int) -> Samples:
    """All of it but the carrier.

    Filters ring after a change of tone; the tone before the first span is taken as steady. The rails, whose circuits
    are averages over a cycle, follow the level at once: a burst through a filter near its corner loads them as if it
    were steady from its first instant.
    """
    samples = np.zeros_like(times_s)
    asked = _Asked()
    for span, step, part in _cuts(spans, times_s):
        stage = step.circuit.stages[channel]
        asked_v = asked.during(span, stage, times_s[part])
        if span.pulse is not None:
            samples[part] = span.pulse.at(times_s[part])
        if not stage.live:
            continue
        if stage.disturbance is not None:
            hum = stage.disturbance.hum.at(times_s[part])
            asked_v = asked_v + stage.disturbance.asked_v * hum
            samples[part] += stage.disturbance.output_v * hum
        if stage.wander is not None:
            samples[part] += stage.wander.at(times_s[part])
        rails_v = step.rails_v(times_s[part] - span.start_s)
        headroom_v = stage.headroom_v(asked_v, rails_v, step.circuit.saturation_v)
        inside_v = stage.transfer.output_v(asked_v, stage.limit_v(headroom_v))
        samples[part] += stage.halves * stage.share * inside_v
        if step.circuit.supply_leaks:
            samples[part] += step.circuit.supply_leaks * _whine_v(step.circuit.source, times_s[part])
    return samples


class _Asked:
    """The voltage that one half of a channel's output is asked for, from span to span."""

    def __init__(self) -> None:
        self._sounding: Phasor | None = None
        self._ringing: Ringing | None = None

    def during(self, span: Stretch, stage: OutputStage, times_s: Samples) -> Samples:
        """Times inside a span that does not begin before the last one."""
        tone, filtered = span.tone, stage.filtered
        steady_v = stage.asked_v(tone.frequency_hz * (times_s - tone.origin_s))
        if filtered is None:
            return steady_v
        drive = Phasor(filtered.drive_v, tone.frequency_hz, tone.origin_s, filtered.before)
        return np.asarray(steady_v + self._ring(filtered.band, drive, span.start_s).output_v(times_s), dtype=np.float64)

    def _ring(self, band: Filter, drive: Phasor, start_s: float) -> Ringing:
        if self._ringing is None:
            self._ringing = Ringing(band)
        self._ringing.follow(band, start_s)
        if self._sounding is not None and self._sounding != drive:
            self._ringing.change(self._sounding, drive, start_s)
        self._sounding = drive
        return self._ringing


def _residue_v(losses: Losses, times_s: Samples) -> Samples:
    """The carrier of a class D stage that is left after the output filter of one half."""
    return np.asarray(math.sqrt(2) * losses.ripple_v * np.sin(2 * np.pi * losses.carrier_hz * times_s))


def _whine_v(source: Source, times_s: Samples) -> Samples | float:
    """The tone on the supply, at the amplifier's terminals."""
    if source.whine is None:
        return 0.0
    return np.asarray(source.whine.amplitude_v * np.sin(2 * np.pi * source.whine.frequency_hz * times_s))


def rails_v(spans: Sequence[Stretch], times_s: Samples) -> Samples:
    """Both rails, in two rows, each counted from the middle."""
    samples = np.zeros((2, len(times_s)))
    for span, step, part in _cuts(spans, times_s):
        samples[:, part] = step.rails_v(times_s[part] - span.start_s)
    return samples


def supply_current_a(spans: Sequence[Stretch], times_s: Samples) -> Samples:
    """What the amplifier draws: within the cycle where its rails are followed there, else averaged over a cycle."""
    return _terminals(spans, times_s)[1]


def terminal_v(spans: Sequence[Stretch], times_s: Samples) -> Samples:
    """The supply voltage at the amplifier's terminals, with the tone that is on it."""
    voltage_v = _terminals(spans, times_s)[0]
    for _, step, part in _cuts(spans, times_s):
        voltage_v[part] += _whine_v(step.circuit.source, times_s[part])
    return voltage_v


def _terminals(spans: Sequence[Stretch], times_s: Samples) -> tuple[Samples, Samples]:
    """Voltage, without the tone on it, and current."""
    voltage_v, current_a = np.zeros_like(times_s), np.zeros_like(times_s)
    for span, step, part in _cuts(spans, times_s):
        voltage_v[part], current_a[part] = span.terminals(step, times_s[part] - span.start_s)
    return voltage_v, current_a


def sync_v(spans: Sequence[Stretch], times_s: Samples) -> Samples:
    """The generator's sync output, 0 or 5 V."""
    samples = np.zeros_like(times_s)
    for span, _, part in _cuts(spans, times_s):
        tone = span.tone
        since_s = times_s[part] - tone.sync_rose_s
        if tone.sync_s is None:
            high = (since_s * tone.frequency_hz) % 1.0 < 0.5
        else:
            high = (since_s >= 0) & (since_s < tone.sync_s)
        samples[part] = np.where(high, SYNC_V, 0.0)
    return samples


def is_live(spans: Sequence[Stretch]) -> bool:
    """Whether any output stage was on."""
    return any(stage.live for span in spans for stage in span.run.steps[0].circuit.stages)


def _cuts(spans: Sequence[Stretch], times_s: Samples) -> Iterator[tuple[Stretch, Step, slice]]:
    """Which samples fall into which step; samples before the first or after the last span belong to that span."""
    first = 0
    for index, span in enumerate(spans):
        for number, step in enumerate(span.run.steps):
            is_last = index == len(spans) - 1 and number == len(span.run.steps) - 1
            end_s = span.start_s + step.end_s
            last = len(times_s) if is_last else int(np.searchsorted(times_s, end_s))
            if last > first:
                yield span, step, slice(first, last)
            first = max(first, last)
