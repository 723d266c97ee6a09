"""What an oscilloscope recorded: integer codes with their scale, and the time base they share.

Codes are kept, not volts, so that a record takes a quarter of the room, clipping can be seen exactly, and
anyone can compute every figure again from the same whole numbers.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from benchctl.errors import ClippedRecord, MeasurementError, RecordTooShort, UnreadableRecord
from benchctl.measure.conditions import NOT_ON_RECORD, Conditions

Samples = NDArray[np.float64]
Codes = NDArray[np.int16]

OUTPUT = "output "  # "output A": the voltage at the amplifier's channel A
OUTPUT_CURRENT = "output current "  # "output current A": the current into its load, where a probe is wired
SUPPLY_CURRENT = "supply current"
SUPPLY_VOLTAGE = "supply voltage"

# A sample may lie this part of an interval before or after the edge of a window and still belong to it,
# because t0 + n * interval is rounded.
_EDGE = 1e-6
_STEP_SAMPLES = 8192  # codes looked at for the converter's step: enough to meet neighbouring codes


@dataclass(frozen=True)
class Trace:
    """One signal: value = codes * scale + offset - zero, in `unit`, as it is at the probe's tip.

    `low_code` and `high_code` are the converter's ends: a code at or beyond one of them is clipped. `zero` is what the
    input showed on this range with nothing at its probe, and `zero_limit` by how much its zero may still be off; None
    where no zero was taken, so that the accuracy of the bench file counts.
    """

    codes: Codes
    scale: float
    offset: float
    unit: str
    low_code: int
    high_code: int
    zero: float = 0.0
    zero_limit: float | None = None
    within: Samples | None = None
    """the values within a band, shape of `codes`, where a low-pass has taken off what lies above it"""

    @property
    def value_of_code_0(self) -> float:
        """What the code 0 stands for, its zero subtracted, in `unit`."""
        return self.offset - self.zero

    @property
    def full_scale(self) -> float:
        """From the lowest to the highest value the converter can show, in `unit`."""
        return (self.high_code - self.low_code) * abs(self.scale)

    @property
    def is_clipped(self) -> bool:
        return self.codes.size > 0 and (
            int(self.codes.min()) <= self.low_code or int(self.codes.max()) >= self.high_code
        )

    @property
    def peak(self) -> float:
        """The value that is farthest from zero, as a size, in `unit`."""
        ends = (int(self.codes.min()), int(self.codes.max()))
        return max(abs(code * self.scale + self.value_of_code_0) for code in ends)

    @property
    def step(self) -> float:
        """The converter's step in `unit`: an 8-bit converter may fill a 16-bit code only in steps of 256.

        It is the largest power of two that divides all differences of codes; a record of few codes may seem coarser
        than it is, never finer.
        """
        spread = self.codes[:: max(self.codes.size // _STEP_SAMPLES, 1)]
        differences = np.diff(spread.astype(np.int64))
        common = int(np.gcd.reduce(differences)) if differences.size else 0
        return max(common & -common, 1) * abs(self.scale)

    def values(self, start: int = 0, stop: int | None = None) -> Samples:
        """The samples `start` to `stop` in `unit`, shape (n,): within the band, where there is one."""
        if self.within is not None:
            return self.within[start:stop]
        part = np.multiply(self.codes[start:stop], self.scale, dtype=np.float64)
        part += self.value_of_code_0
        return part

    def steps(self, start: int = 0, stop: int | None = None) -> Samples:
        """The samples `start` to `stop` in steps of the converter."""
        return np.multiply(self.codes[start:stop], abs(self.scale) / self.step, dtype=np.float64)

    def part(self, start: int, stop: int) -> Trace:
        """The samples `start` to `stop` as a trace; nothing is copied."""
        within = None if self.within is None else self.within[start:stop]
        return replace(self, codes=self.codes[start:stop], within=within)


@dataclass(frozen=True)
class Capture:
    """One acquisition: its traces share the time of the first sample and the interval.

    `name` is the file it is stored under; `start_s` counts from the trigger (negative: before it); `taken_s` is
    the run's clock. Traces are named "output A", "output B", "supply current", "supply voltage" and, where a current
    probe sits on a load's lead, "output current A". `conditions` and `load_c`, the temperature of the load as it was
    read last, stand in the journal, not in the file.
    """

    name: str
    start_s: float
    interval_s: float
    traces: Mapping[str, Trace]
    taken_s: float
    conditions: Conditions = NOT_ON_RECORD
    load_c: float | None = None

    def __post_init__(self) -> None:
        if not (np.isfinite(self.interval_s) and self.interval_s > 0 and np.isfinite(self.start_s)):
            raise UnreadableRecord(f"capture '{self.name}' has no usable time base: interval {self.interval_s} s")
        if len({trace.codes.size for trace in self.traces.values()}) != 1:
            raise MeasurementError(f"capture '{self.name}' holds no trace, or traces of unlike length")

    @property
    def samples(self) -> int:
        return next(iter(self.traces.values())).codes.size

    @property
    def duration_s(self) -> float:
        return self.samples * self.interval_s

    @property
    def channels(self) -> tuple[str, ...]:
        """The amplifier's channels in this record, in alphabetical order."""
        voltages = (name for name in self.traces if name.startswith(OUTPUT) and not name.startswith(OUTPUT_CURRENT))
        return tuple(sorted(name.removeprefix(OUTPUT) for name in voltages))

    def trace(self, signal: str) -> Trace:
        """The trace of `signal`, whole and unclipped.

        Raises:
            MeasurementError: the signal was not captured.
            ClippedRecord: the converter met its end, so peaks and power would be guessed.
            UnreadableRecord: scale or offset is not a number.
        """
        if signal not in self.traces:
            raise MeasurementError(f"capture '{self.name}' has no signal '{signal}'; it has {', '.join(self.traces)}")
        trace = self.traces[signal]
        if not (np.isfinite(trace.scale) and np.isfinite(trace.value_of_code_0) and trace.scale != 0):
            raise UnreadableRecord(f"'{signal}' in capture '{self.name}' has scale {trace.scale}: no values follow")
        if trace.is_clipped:
            raise ClippedRecord(
                f"'{signal}' in capture '{self.name}' reached the end of the oscilloscope's range",
                advice="Take it again on a wider range.",
            )
        return trace

    def window(self, t0_s: float, t1_s: float) -> Capture:
        """The samples from `t0_s` up to, not including, `t1_s`, in seconds from the trigger; codes are not copied.

        Raises:
            RecordTooShort: the window reaches outside the record, or holds no sample.
        """
        first = int(np.ceil((t0_s - self.start_s) / self.interval_s - _EDGE))
        stop = int(np.ceil((t1_s - self.start_s) / self.interval_s - _EDGE))
        if not 0 <= first < stop <= self.samples:
            raise RecordTooShort(
                f"{t0_s:.6g} s to {t1_s:.6g} s is not inside capture '{self.name}', "
                f"{self.start_s:.6g} s to {self.start_s + self.duration_s:.6g} s"
            )
        cut = {name: trace.part(first, stop) for name, trace in self.traces.items()}
        return replace(self, start_s=self.start_s + first * self.interval_s, traces=cut)


def finite(values: Samples) -> Samples:
    """`values` as float64, shape (n,), or an error where any of them is NaN or infinite."""
    array = np.asarray(values, dtype=np.float64)
    # A sum is not finite if any term is not, and needs no array of flags; overflow would need 1e300 V.
    if not np.isfinite(array.sum()):
        raise UnreadableRecord("the record holds values that are not numbers")
    return array
