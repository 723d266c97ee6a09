"""The oscilloscope: one acquisition at a time, with a vertical range that fits, as raw codes with their scale."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from benchctl.errors import MeasurementError
from benchctl.instruments.oscilloscope.acquiring import Acquiring
from benchctl.instruments.oscilloscope.moved_trace import MOVED_DIVISIONS, Seen, what_is_wrong
from benchctl.instruments.oscilloscope.record import Record
from benchctl.instruments.oscilloscope.vertical import FILL
from benchctl.measure.budget.zero import trace_name
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.signal.sample_codes import is_inside

# Ranges tried for one record before it is given up.
RANGE_ATTEMPTS = 6
# A range on which every input takes an offset of some divisions (common practice: at 1 V a division, of 2 V and more).
CHECKED_V_PER_DIVISION = 1.0


class Oscilloscope(Acquiring):
    """Acquires the signals that the bench file wires to it."""

    def capture(self, name: str, signals: Sequence[str], record: Record, expected: Mapping[str, float]) -> Capture:
        """Acquire one record of `signals`.

        Args:
            name: what the capture will be called.
            signals: their names, as wired.
            record: how long and how fine.
            expected: the peak to expect of each signal, in its unit; where it was wrong the range is
                changed and the record taken again, so a clipped record is never returned.

        Raises:
            MeasurementError: no range shows the signal unclipped, or no time base is long enough.
            NoRecord: no trigger came.
            InstrumentError: the instrument failed.
        """
        self._show(signals)
        for signal in signals:
            self._fit(signal, expected[signal])
        for _ in range(RANGE_ATTEMPTS):
            capture = self._acquire(name, signals, record)
            # Each range is looked at, not only the first that does not fit.
            unfit = [signal for signal in signals if self._refit(signal, capture.traces[signal])]
            if not unfit:
                return capture
        raise MeasurementError(f"no vertical range shows {', '.join(unfit)} whole{_beyond(capture, unfit)}")

    def record_zeros(self, largest: Mapping[str, float], record: Record) -> Capture:
        """What each signal shows on every range that a peak of up to its `largest` may need, with nothing at its probe.

        Each range is an acquisition; all of them make one capture, whose traces `trace_name` names.

        Raises:
            NoRecord: the instrument takes no record.
            InstrumentError: it failed.
        """
        signals = tuple(largest)
        settings = {signal: self._settings_for(signal, largest[signal]) for signal in signals}
        self._half_range.clear()
        self._show(signals)
        self._setup = None
        traces: dict[str, Trace] = {}
        for number in range(max(map(len, settings.values()))):
            due = [signal for signal in signals if number < len(settings[signal])]
            # An instrument may have fewer ranges than it is asked for.
            new = [signal for signal in due if self._has_changed(signal, settings[signal][number])]
            if new:
                taken = self._take_again("zero", signals, record)
                traces |= {trace_name(number + 1, signal): taken.traces[signal] for signal in new}
        self._half_range.clear()  # the widest one fits nothing that comes next
        return replace(taken, traces=traces)

    def check_samples(self, signal: str, record: Record) -> None:
        """Check that samples are read as they are meant, with nothing at the probe of `signal`: its trace is moved.

        Raises:
            GarbledAnswer: they are not; the error says how they make sense.
            NoRecord: the instrument takes no record.
            InstrumentError: it failed.
        """
        source = self.inputs[signal]
        self._show((signal,))
        seen: list[Seen] = []
        for moved in (0.0, MOVED_DIVISIONS):
            division_v = self._set_vertical(source, CHECKED_V_PER_DIVISION, moved)
            setup = self._set_record(record, (signal,))
            self._run_once(record, setup)
            seen.append(Seen(*self._raw(source, setup)))
        self.check_errors()
        self._half_range.clear()  # the trace is not in the middle
        wrong, advice = what_is_wrong(seen[0], seen[1], division_v * self.probe_ratio(source))
        if wrong:
            raise self._garbled(wrong, advice)

    @property
    def records_freely(self) -> bool:
        """Whether it takes a record without a trigger."""
        return bool(self._words.trigger_free or self._words.force_trigger)

    def capture_during(
        self, name: str, peaks: Mapping[str, float], record: Record, action: Callable[[], object]
    ) -> Capture:
        """One record without a trigger, begun just before `action`, on ranges that show these peaks; what goes beyond
        them is clipped in it.

        Args:
            name: what the capture will be called.
            peaks: signal -> the highest peak that its range must show, in its unit.
            record: how long and how fine.
            action: what happens while it is recorded.
        """
        signals = tuple(peaks)
        self._show(signals)
        for signal, peak in peaks.items():
            self._set_range(signal, peak / FILL)
        setup = self._set_record(record, signals)
        return self._take(name, signals, record, setup, action)

    def record_as_set(self, name: str, half_ranges: Mapping[str, float], record: Record) -> Capture:
        """One record on the ranges that are set already, whatever it shows; no range is changed.

        Args:
            name: what the capture will be called.
            half_ranges: signal -> half of the screen, in its unit.
            record: how long and how fine.
        """
        self._show(tuple(half_ranges))
        self._half_range.update(half_ranges)
        return self._acquire(name, tuple(half_ranges), record)


def _beyond(capture: Capture, signals: Sequence[str]) -> str:
    """Where codes lie far beyond the range that was set, or nothing."""
    traces = [capture.traces[signal] for signal in signals]
    if all(is_inside(trace.codes, trace.low_code, trace.high_code) for trace in traces):
        return ""
    return (
        "; its codes lie far beyond the range that reads back, so look in the oscilloscope's driver file whether "
        "'get_scale' belongs to samples as 'samples' says, and whether 'get_vertical' answers volts per division"
    )
