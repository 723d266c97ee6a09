"""The true values on a simulated bench, for a campaign that compares figures with them.

Nothing that measures may look here: the owner of a simulated bench builds it, and no instrument shows it.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from dataclasses import dataclass

from benchctl.simulator.bench import SimulatedBench
from benchctl.simulator.generator_signal import SAME_INSTANT_S
from benchctl.simulator.hardware import waveforms
from benchctl.simulator.hardware.waveforms import Samples
from benchctl.simulator.instruments.oscilloscopes.oscilloscope import SimulatedOscilloscope
from benchctl.simulator.instruments.oscilloscopes.recording.acquisition import Record


@dataclass(frozen=True)
class TrueRecord:
    """One record as it was at the probes' tips, before any probe, converter or noise.

    `conductance_s` is that of each amplifier channel's load at that time; `lead_ohm` lies between the supply and the
    amplifier's terminals, and `supply_current_a` flows through it.
    """

    record: Record
    channels: tuple[str, ...]
    conductance_s: tuple[float, ...]
    lead_ohm: float

    @property
    def start_s(self) -> float:
        """When it began, on the bench's clock."""
        return self.record.start_s

    @property
    def end_s(self) -> float:
        """When it ended."""
        return self.record.start_s + self.record.timing.span_s

    @property
    def frequency_hz(self) -> float:
        """The true frequency of the generator."""
        return self.record.spans[0].tone.frequency_hz

    def loudest_s(self) -> float:
        """The start of the first stretch at the highest drive level that began within the record."""
        within = [span for span in self.record.spans if span.start_s >= self.start_s]
        return max(within, key=lambda span: (span.tone.amplitude_v, -span.start_s)).tone.sync_rose_s

    def output_v(self, channel: str, times_s: Samples) -> Samples:
        """The voltage across a channel's load at any times within the record."""
        return waveforms.output_v(self.record.spans, times_s, self.channels.index(channel))

    def load_s(self, channel: str) -> float:
        """The conductance of a channel's load, siemens."""
        return self.conductance_s[self.channels.index(channel)]

    def supply_current_a(self, times_s: Samples) -> Samples:
        """What the amplifier drew."""
        return waveforms.supply_current_a(self.record.spans, times_s)

    def terminal_v(self, times_s: Samples) -> Samples:
        """The supply voltage at the amplifier's terminals."""
        return waveforms.terminal_v(self.record.spans, times_s)


class TrueRecords:
    """Keeps every record that the oscilloscope of `bench` finishes, and the heatsink's temperature."""

    def __init__(self, bench: SimulatedBench) -> None:
        oscilloscope = bench.instruments["oscilloscope"]
        if not isinstance(oscilloscope, SimulatedOscilloscope):
            raise TypeError("the simulated bench has no oscilloscope")
        self._acquisition = oscilloscope.scope.acquisition
        self._physical_bench = bench.physical_bench
        self._finished_s: list[float] = []
        self._records: list[TrueRecord] = []
        self._heatsink: list[tuple[float, float]] = []
        self._physical_bench.watch(self)

    def remembers_from(self) -> float:
        """It asks the history for nothing: a record holds its own past."""
        return math.inf

    def look(self, from_s: float, to_s: float) -> None:
        """Keep a newly finished record; the oscilloscope watched from the start, so it has looked already."""
        if to_s > from_s:
            self._heatsink.append((to_s, self._physical_bench.connections.heatsink_c))
        record = self._acquisition.record
        if record is None or (self._records and self._records[-1].record is record):
            return
        self._finished_s.append(to_s)
        channels, connections = self._physical_bench.description.plate.channels, self._physical_bench.connections
        conductances_s, lead_ohm = connections.loads.conductances_s(), connections.main_output.lead_ohm
        self._records.append(TrueRecord(record, channels, conductances_s, lead_ohm))

    def record_at(self, time_s: float) -> TrueRecord:
        """The last record that was finished by `time_s`; LookupError where there is none."""
        number = bisect_right(self._finished_s, time_s + SAME_INSTANT_S)
        if not number:
            raise LookupError(f"no record had been finished at {time_s} s")
        return self._records[number - 1]

    @property
    def ambient_c(self) -> float:
        """The true temperature of the air, which does not change."""
        return self._physical_bench.description.bench.ambient_c

    def heatsink_c(self, time_s: float) -> float:
        """The true temperature of the heatsink at `time_s`; LookupError if the bench had not started."""
        number = bisect_right(self._heatsink, (time_s + SAME_INSTANT_S, math.inf))
        if not number:
            raise LookupError(f"the bench had not begun at {time_s} s")
        return self._heatsink[number - 1][1]
