"""The oscilloscope's inputs: what each is wired to, and what its probe and converter make of it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from benchctl.documents.bench_file.imperfections import MainsImperfections, OscilloscopeImperfections
from benchctl.simulator.hardware import waveforms
from benchctl.simulator.hardware.connections import Connections
from benchctl.simulator.hardware.history import Stretch
from benchctl.simulator.hardware.noise import density_of, noise_v
from benchctl.simulator.hardware.physical_bench import PhysicalBench
from benchctl.simulator.hardware.waveforms import Samples
from benchctl.simulator.instruments.oscilloscopes.recording.acquisition import EXTERNAL, Record, Trigger
from benchctl.simulator.instruments.oscilloscopes.recording.digitiser import Digitiser, OwnNoise, Transitions, Vertical
from benchctl.simulator.instruments.oscilloscopes.recording.front_end import (
    FrontEnd,
    passed,
    through_one_pole,
    turned_back,
)
from benchctl.simulator.model.description import OscilloscopeDescription, ScopeChannel, Spec
from benchctl.simulator.model.true_errors import TrueError

SEARCH_SAMPLES = 1 << 15
"""A channel is searched for its trigger in pieces of so many samples; the first hit ends the search."""

LONGEST_SEARCH = 1 << 21
"""No more samples than this are looked at for one stretch of waiting."""

Waveform = Callable[[Sequence[Stretch], Samples], Samples]


class Inputs:
    """All inputs, wired or not."""

    def __init__(self, physical_bench: PhysicalBench, description: OscilloscopeDescription) -> None:
        self._physical_bench = physical_bench
        bench = physical_bench.description.bench
        self._front_end = FrontEnd(bench.imperfections.oscilloscope, physical_bench.true_errors, bench.ambient_c)
        self._description = description
        self._wired = {channel.number: channel for channel in reversed(description.wiring)}
        self._waveforms = {channel.signal: self._waveform(channel) for channel in description.wiring}
        self._digitisers = {number: self._digitiser(number) for number in range(1, description.channels + 1)}
        # What reaches the inputs of one record, for each channel of a record asks for all others. It never changes.
        self._arrived: tuple[Record, dict[tuple[int, str], Samples]] | None = None

    def _wired_now(self, number: int) -> ScopeChannel | None:
        """What an input is wired to; of several outputs that share it, the one that a person has put the probe onto."""
        probed = self._physical_bench.connections.probed
        if probed is not None:
            for channel in self._description.wiring:
                if channel.number == number and channel.signal.removeprefix("output ") in probed:
                    return channel
        return self._wired.get(number)

    @property
    def one_channel(self) -> int | None:
        """The channel whose record is given for every other, where a fault of the bench makes it so."""
        return self._physical_bench.connections.faults.one_channel

    def digitiser(self, number: int) -> Digitiser:
        """Of an input."""
        return self._digitisers[number]

    def codes(self, number: int, record: Record, vertical: Vertical) -> np.ndarray[tuple[int], np.dtype[np.int32]]:
        """What an input's converter made of a record; the same each time it is asked for."""
        chance = self._physical_bench.true_errors.noise(f"oscilloscope {number}", record.number)
        digitiser = self._digitisers[number]
        signal = self._probed(number, record, chance)
        gain = self._gain(number, vertical, record)
        if gain != 1.0:
            signal = signal * gain
        beside_v: Samples | float = self._zero_v(number, vertical, record.start_s)
        if self._front_end.crosstalk:
            beside_v = beside_v + gain * self._front_end.crosstalk * self._others_v(number, record)
        return np.asarray(digitiser.codes(signal, vertical, chance, beside_v), dtype=np.int32)

    def _gain(self, number: int, vertical: Vertical, record: Record) -> float:
        """An input's gain in a record on a range, over what it was adjusted to. Nothing moves it beyond what is stated,
        where only an error that was given for a trial may lie."""
        own, stated = self._digitisers[number].error.gain, self._description.voltage.reading
        moved = self._front_end.gain(number, vertical.full_scale_v, record.start_s, record.number)
        if moved == 1.0 or abs(own) >= stated:
            return moved
        return (1 + turned_back((1 + own) * moved - 1, stated)) / (1 + own)

    def _zero_v(self, number: int, vertical: Vertical, now_s: float) -> float:
        """How far an input's zero has moved since it was switched on, at the input."""
        limits = self._description.voltage
        limit_v = limits.fixed + limits.range * vertical.full_scale_v
        return self._front_end.zero_v(number, vertical.full_scale_v, limit_v, now_s)

    def _probed(self, number: int, record: Record, chance: np.random.Generator | None = None) -> Samples:
        """What a probe gives of its signal, in volts or amperes at its tip; with noise where there is a chance."""
        wired = self._wired_now(number)
        if wired is None or not record.spans:
            return np.zeros(record.timing.samples)
        truly = self._connections.faults.truly("oscilloscope", wired.signal)
        signal = self._without_noise(number, truly, record)
        if chance is not None and self._sees_noise(truly, record):
            limit_hz = self._front_end.bandwidth_hz(truly)
            signal = signal + through_one_pole(self._noise_v(record, truly, chance), record.timing.interval_s, limit_hz)
        return self._with_faults(wired, signal)

    def _without_noise(self, number: int, truly: str, record: Record) -> Samples:
        """What the probe on a signal gives of it to an input."""
        if self._arrived is None or self._arrived[0] is not record:
            self._arrived = record, {}
        arrived = self._arrived[1]
        if (number, truly) not in arrived:
            arrived[number, truly] = self._arriving(number, truly, record)
        return arrived[number, truly]

    def _arriving(self, number: int, truly: str, record: Record) -> Samples:
        times_s = record.times_s()
        if late_s := self._front_end.late_s(number, record.number):
            times_s += late_s
        limit_hz = self._front_end.bandwidth_hz(truly)
        signal = self._waveforms[truly](record.spans, times_s)
        if truly not in ("sync", "supply current") and self._mains.at_probes_v:
            signal = signal + self._mains.at_probes_v * self._connections.surroundings.hum.at(times_s)
        signal = through_one_pole(signal, record.timing.interval_s, limit_hz)
        return signal + self._carrier_v(truly, record.spans, times_s, limit_hz)

    def _carrier_v(
        self, signal: str, spans: Sequence[Stretch], times_s: Samples, limit_hz: float = math.inf
    ) -> Samples | float:
        """What a probe gives of a class D carrier."""
        if not signal.startswith("output ") or not self._physical_bench.description.plate.switching:
            return 0.0
        return waveforms.carrier_v(spans, times_s, self._place(signal), partial(passed, limit_hz))

    def _others_v(self, number: int, record: Record) -> Samples:
        """What changes of the voltages at all other inputs together: they couple by a capacitance."""
        others = (each for each in self._digitisers if each != number and self._wired_now(each) is not None)
        volts = [self._seen_v(each, record) for each in others]
        together = np.sum(volts, axis=0) if volts else np.zeros(record.timing.samples)
        return np.asarray(together - together.mean(), dtype=np.float64)

    def _seen_v(self, number: int, record: Record) -> Samples:
        """The voltage at an input without the noise that comes with it."""
        return self._digitisers[number].volts_per_unit * self._probed(number, record)

    def find_edge(self, trigger: Trigger, from_s: float, to_s: float, interval_s: float) -> float:
        """The first edge between two times, or infinity."""
        wired = self._wired.get(trigger.source)
        if trigger.source == EXTERNAL:
            return self._next_sync(trigger, from_s) if self._description.external_trigger else math.inf
        if wired is None:
            return math.inf
        if wired.signal == "sync":
            return self._next_sync(trigger, from_s)
        return self._search(trigger, from_s, to_s, interval_s)

    def _next_sync(self, trigger: Trigger, from_s: float) -> float:
        connections = self._physical_bench.connections
        if not connections.faults.has_trigger:
            return math.inf
        return connections.drive.next_sync(from_s, rising=trigger.rising)

    def _search(self, trigger: Trigger, from_s: float, to_s: float, interval_s: float) -> float:
        """Sample the channel until it crosses the level."""
        volts_per_unit = self._digitisers[trigger.source].volts_per_unit
        sign = 1.0 if trigger.rising else -1.0
        # Coarser over a long wait, so that it costs no more than a long record.
        interval_s = max(interval_s, (to_s - from_s) / LONGEST_SEARCH)
        start_s = from_s
        while start_s < to_s:
            end_s = min(start_s + SEARCH_SAMPLES * interval_s, to_s)
            times_s = start_s + np.arange(int((end_s - start_s) / interval_s) + 2, dtype=np.float64) * interval_s
            spans = self._physical_bench.history.between(start_s, end_s)
            above = sign * (self._signal(trigger.source, spans, times_s) * volts_per_unit - trigger.level_v) >= 0
            hits = np.flatnonzero(~above[:-1] & above[1:])
            if hits.size:
                return float(times_s[hits[0] + 1])
            start_s = end_s
        return math.inf

    @property
    def _connections(self) -> Connections:
        return self._physical_bench.connections

    @property
    def _mains(self) -> MainsImperfections:
        return self._physical_bench.description.bench.imperfections.mains

    def _place(self, signal: str) -> int:
        """Of an output among the amplifier's channels."""
        return self._physical_bench.description.plate.channels.index(signal.removeprefix("output "))

    def _signal(self, number: int, spans: Sequence[Stretch], times_s: Samples) -> Samples:
        """What a trigger finds its edge in."""
        wired = self._wired_now(number)
        if wired is None or not spans:
            return np.zeros_like(times_s)
        truly = self._connections.faults.truly("oscilloscope", wired.signal)
        seen = self._waveforms[truly](spans, times_s) + self._carrier_v(truly, spans, times_s)
        return np.asarray(self._with_faults(wired, seen), dtype=np.float64)

    def _with_faults(self, wired: ScopeChannel, seen: Samples) -> Samples:
        """What faults of the bench make of it."""
        faults = self._connections.faults
        seen = seen + self._of_reference(wired)
        return seen * faults.factor("oscilloscope", wired.signal) + faults.offsets.get(wired.signal, 0.0)

    def _of_reference(self, wired: ScopeChannel) -> float:
        """What a person has put to the probe, or to the input in its place, as if it were at the tip."""
        reference = self._connections.references.get(wired.signal)
        if reference is None:
            return 0.0
        volts_per_unit = self._digitisers[wired.number].volts_per_unit
        return reference.value / volts_per_unit if reference.by_plain_lead else reference.value

    def _sees_noise(self, truly: str, record: Record) -> bool:
        return truly.startswith("output ") and waveforms.is_live(record.spans)

    def _noise_v(self, record: Record, signal: str, chance: np.random.Generator) -> Samples:
        """Of the amplifier and the generator before it, at an output."""
        physics, timing = self._connections.physics, record.timing
        stage = record.spans[-1].run.steps[-1].circuit.stages[self._place(signal)]
        before_v = stage.disturbance.noise_v if stage.disturbance is not None else 0.0
        density = density_of(math.hypot(physics.noise_v, before_v))
        return noise_v(chance, timing.samples, 1 / timing.interval_s, density, physics.noise_bandwidth_hz)

    def _waveform(self, channel: ScopeChannel) -> Waveform:
        if channel.signal.startswith("output "):
            place = self._place(channel.signal)
            return lambda spans, times_s: waveforms.audible_v(spans, times_s, place)
        named: dict[str, Waveform] = {
            "supply current": waveforms.supply_current_a,
            "supply voltage": waveforms.terminal_v,
            "sync": waveforms.sync_v,
        }
        return named[channel.signal]

    def _with_shared(self, number: int, own_gain: float, limit: float) -> float:
        """An error of gain: the common one of all inputs, or the input's own. Two inputs have the common one both with
        the probability that is stated. (A sum of both errors would lie beyond the limit of the data sheet.)"""
        shared = self._physical_bench.description.bench.imperfections.oscilloscope.shared_gain
        true_errors = self._physical_bench.true_errors
        if true_errors.stream(f"oscilloscope {number} shares").random() >= math.sqrt(shared):
            return own_gain
        return true_errors.error("oscilloscope", Spec(limit)).gain

    def _digitiser(self, number: int) -> Digitiser:
        description, true_errors = self._description, self._physical_bench.true_errors
        imperfections = self._physical_bench.description.bench.imperfections.oscilloscope
        still = 1.0 - imperfections.zero_drift
        own = true_errors.error(f"oscilloscope {number}", Spec(description.voltage.reading, fixed=1.0))
        gain = self._with_shared(number, own.gain, description.voltage.reading)
        wired = self._wired.get(number)
        volts_per_unit = 1.0
        if wired is not None:
            probe = true_errors.error(f"probe {wired.signal.removeprefix('output ')}", Spec(wired.accuracy))
            volts_per_unit = wired.volts_per_unit * (1 + probe.gain)
        return Digitiser(
            bits=description.bits,
            volts_per_unit=volts_per_unit,
            error=TrueError(gain, own.offset * description.voltage.fixed * still),
            range_error=lambda full_scale_v: (
                true_errors.part(f"oscilloscope {number}", f"{full_scale_v:.6g} V") * description.voltage.range * still
            ),
            noise_lsb=imperfections.converter_noise,
            own_noise=_own_noise(imperfections),
            transitions=self._transitions(number, imperfections.unlike_steps),
        )

    def _transitions(self, number: int, off: float) -> Transitions | None:
        """Of an input's converter."""
        if not off:
            return None
        chance = self._physical_bench.true_errors.noise(f"oscilloscope {number} steps", 0)
        return Transitions(self._description.bits, off, chance)


def _own_noise(of: OscilloscopeImperfections) -> OwnNoise:
    """White, so that a bandwidth limit leaves the root of its share; all of it is folded into any record."""
    left = math.sqrt(min((of.bandwidth_limit_hz or of.bandwidth_hz) / of.bandwidth_hz, 1.0))
    return OwnNoise(of.noise_floor_v * left, of.noise_of_range * left)
