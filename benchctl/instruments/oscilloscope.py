"""The oscilloscope: one acquisition at a time, with a vertical range that fits, as raw codes with their scale."""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from benchctl.documents.driver_file.oscilloscope import (
    FieldPreambleCommands,
    ListPreambleCommands,
    OscilloscopeCommands,
    OscilloscopeDriver,
)
from benchctl.errors import GarbledAnswer, MeasurementError, NoRecord
from benchctl.instruments.role import Role
from benchctl.instruments.session import Session
from benchctl.instruments.vertical import FILL, FINEST_V_PER_DIVISION, ranges_v, setting_v
from benchctl.measure.budget.zero import trace_name
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.signal.sample_codes import is_inside, misreading
from benchctl.scpi.numbers import parse_number

# Below this part of the range a record wastes the converter: three more bits are to be had.
SPARSE = 0.12
# Ranges tried for one record before it is given up.
RANGE_ATTEMPTS = 6
# How often the instrument is asked whether the record is whole.
POLL_S = 0.02
# Where it waits for a slow trigger, no oftener than this: each question costs the instrument work too.
POLLS_A_TRIGGER = 5
# Patience beyond the record's own length and the wait for its trigger: re-arming, processing.
PATIENCE_S = 3.0
BLOCK_TIMEOUT_S = 20.0
# A sync output is TTL or CMOS (common practice), so at 1 V its edge is steep and its low level far away.
SYNC_LEVEL_V = 1.0
_CHECK_CODES = (
    "In the oscilloscope's driver file, 'prepare' must ask for words of two bytes, the lower byte first, and what is "
    "asked of the preamble must belong to such words; look in its programming manual for the order of the bytes and "
    "the width of the data. In the bench file, 'bits' must be those of its converter."
)
# In the list form of a preamble.
PREAMBLE_NUMBERS = 10

Sleep = Callable[[float], object]


@dataclass(frozen=True)
class Input:
    """What one oscilloscope channel is wired to; `per_volt` is the signal's unit per volt at the input."""

    signal: str
    channel: int
    unit: str
    per_volt: float


@dataclass(frozen=True)
class Record:
    """The stretch of time to acquire, and how finely; a trigger comes within `trigger_every_s`."""

    span_s: float
    pretrigger_s: float
    samples: int
    triggered: bool = True
    trigger_every_s: float = 0.0


@dataclass(frozen=True)
class _Scale:
    """How codes become volts at the input, and samples times."""

    volts_per_code: float
    volts_at_zero: float
    interval_s: float
    start_s: float

    @property
    def is_usable(self) -> bool:
        """Whether every number is one, and steps are steps."""
        numbers = (self.volts_per_code, self.volts_at_zero, self.interval_s, self.start_s)
        return all(map(math.isfinite, numbers)) and self.volts_per_code > 0 and self.interval_s > 0


class Oscilloscope(Role, ABC):
    """Acquires the signals that the bench file wires to it."""

    _words: OscilloscopeCommands

    def __init__(
        self,
        session: Session,
        driver: OscilloscopeDriver,
        inputs: Mapping[str, Input],
        *,
        bits: int,
        trigger_channel: int | None,
        sleep: Sleep,
    ) -> None:
        super().__init__(session, driver)
        self._screen = driver
        self._words = driver.commands
        self.inputs = dict(inputs)
        self.bits = bits
        self._trigger_channel = trigger_channel
        self._sleep = sleep
        self._half_range: dict[str, float] = {}
        self._shown: tuple[str, ...] | None = None

    def _set_mode(self) -> None:
        """Stopped, all wired channels hidden, words of two bytes."""
        self._say(self._words.prepare)
        for source in self.inputs.values():
            self._say(self._words.hide_channel, channel=source.channel)
        self._shown = ()
        self._half_range.clear()

    def capture(self, name: str, signals: Sequence[str], record: Record, expected: Mapping[str, float]) -> Capture:
        """Acquire one record of `signals`.

        Args:
            name: what the capture will be called.
            signals: their names, as wired.
            record: how long and how fine.
            expected: the peak to expect of each signal, in its unit; where it was wrong the range is
                changed and the record taken again, so a clipped record is never returned.

        Raises:
            MeasurementError: no range shows the signal unclipped.
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
        self._set_record(record)
        traces: dict[str, Trace] = {}
        for number in range(max(map(len, settings.values()))):
            due = [signal for signal in signals if number < len(settings[signal])]
            # An instrument may have fewer ranges than it is asked for.
            new = [signal for signal in due if self._has_changed(signal, settings[signal][number])]
            if new:
                taken = self._take("zero", signals, record)
                traces |= {trace_name(number + 1, signal): taken.traces[signal] for signal in new}
        self._half_range.clear()  # the widest one fits nothing that comes next
        return replace(taken, traces=traces)

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

    # -- vertical ----------------------------------------------------------------------------------------------

    def _show(self, signals: Sequence[str]) -> None:
        if self._shown == tuple(signals):
            return
        shown = {self.inputs[signal].channel for signal in signals}
        for channel in dict.fromkeys(source.channel for source in self.inputs.values()):
            self._say(self._words.show_channel if channel in shown else self._words.hide_channel, channel=channel)
        for source in self.inputs.values():  # a probe that was moved: the channel's range is another signal's now
            if source.channel in shown and source.signal not in signals:
                self._half_range.pop(source.signal, None)
        self._shown = tuple(signals)

    def _fit(self, signal: str, peak: float) -> None:
        """Choose a range for a peak, unless the present one will do."""
        half_range = self._half_range.get(signal, 0.0)
        if not SPARSE * half_range <= peak <= 0.95 * half_range:
            self._set_range(signal, peak / FILL)

    def _refit(self, signal: str, trace: Trace) -> bool:
        """Whether the range had to be changed for what the record shows."""
        half_range = self._half_range[signal]
        if trace.is_clipped:
            self._set_range(signal, half_range * 2.5)
            return True
        peak = float(np.max(np.abs(trace.values())))
        finest = self._divisions / 2 * FINEST_V_PER_DIVISION * self.inputs[signal].per_volt
        if peak < SPARSE * half_range and half_range > 2 * finest:
            self._set_range(signal, peak / FILL)
            # An instrument may have no finer range; then the record is as good as it gets.
            return self._half_range[signal] < half_range
        return False

    def _set_range(self, signal: str, half_range: float) -> None:
        source = self.inputs[signal]
        wanted = setting_v(half_range / source.per_volt / (self._divisions / 2))
        self._say(self._words.set_vertical, channel=source.channel, volts_per_division=wanted, offset_v=0.0)
        got = self._ask_number(self._words.get_vertical, channel=source.channel)
        if got <= 0:
            raise self._garbled(f"says its range is {got:g} V a division")
        self._half_range[signal] = got * self._divisions / 2 * source.per_volt

    def _settings_for(self, signal: str, peak: float) -> tuple[float, ...]:
        """Volts a division at the input, from the finest to what shows a peak."""
        return ranges_v(peak / FILL / self.inputs[signal].per_volt / (self._divisions / 2))

    def _has_changed(self, signal: str, volts_per_division: float) -> bool:
        """Set a range; whether it is another than before."""
        before = self._half_range.get(signal)
        self._set_range(signal, volts_per_division * self._divisions / 2 * self.inputs[signal].per_volt)
        return self._half_range[signal] != before

    @property
    def _divisions(self) -> int:
        return self._screen.divisions.vertical

    # -- one acquisition ---------------------------------------------------------------------------------------

    def _acquire(self, name: str, signals: Sequence[str], record: Record) -> Capture:
        self._set_record(record)
        return self._take(name, signals, record)

    def _set_record(self, record: Record) -> None:
        self._say(
            self._words.set_record,
            seconds_per_division=record.span_s / self._screen.divisions.horizontal,
            samples=record.samples,
            pretrigger_s=record.pretrigger_s,
        )
        self._set_trigger(record)

    def _take(self, name: str, signals: Sequence[str], record: Record) -> Capture:
        self._say(self._words.single)
        self._wait(record)
        fetched = [self._fetch(self.inputs[signal]) for signal in signals]
        self.check_errors()
        first = fetched[0][0]
        return Capture(
            name=name,
            start_s=first.start_s,
            interval_s=first.interval_s,
            traces={signal: trace for signal, (_, trace) in zip(signals, fetched, strict=True)},
            taken_s=0.0,
        )

    def _set_trigger(self, record: Record) -> None:
        if not record.triggered:
            self._say(self._words.trigger_free)
        elif self._trigger_channel is None:
            self._say(self._words.trigger_external)
        else:
            self._say(self._words.trigger_channel, channel=self._trigger_channel, level_v=SYNC_LEVEL_V)

    def _wait(self, record: Record) -> None:
        """Until the record is whole. Asking again and again keeps the link free for an emergency stop."""
        # The pretrigger must fill, one trigger period may pass, and the record must run: less than this.
        allowed_s = 2 * record.span_s + record.trigger_every_s + PATIENCE_S
        poll_s = max(POLL_S, record.trigger_every_s / POLLS_A_TRIGGER)
        self._sleep(record.span_s - record.pretrigger_s)
        for _ in range(math.ceil(allowed_s / poll_s)):
            if self._ask_truth(self._words.get_finished):
                return
            self._sleep(poll_s)
        self._say(self._words.stop)
        raise NoRecord(
            f"no whole record within {allowed_s + record.span_s:.1f} s",
            instrument=self.session.name,
            address=self.session.address,
            advice="Look at the trigger: is the generator's sync output wired to it, and is the generator on?",
        )

    def _fetch(self, source: Input) -> tuple[_Scale, Trace]:
        self._say(self._words.choose_source, channel=source.channel)
        scale = self._read_scale()
        if not scale.is_usable:
            raise self._garbled(f"gives {scale.volts_per_code:g} V a code and {scale.interval_s:g} s a sample")
        (question,) = self._words.get_block.render()
        data = self.session.ask_block(question, BLOCK_TIMEOUT_S)
        if len(data) % 2 or not data:
            raise self._garbled(f"sends {len(data)} bytes, which is not a whole number of two-byte words")
        trace = self._trace(source, scale, np.frombuffer(data, dtype="<i2"))
        if wrong := misreading(trace.codes, trace.low_code, trace.high_code, self.bits):
            raise self._garbled(f"sends a record of {source.signal} that cannot be: {wrong}", advice=_CHECK_CODES)
        return scale, trace

    def _trace(self, source: Input, scale: _Scale, codes: np.ndarray[tuple[int], np.dtype[np.int16]]) -> Trace:
        """Codes with their scale at the probe's tip, and the codes at which the converter ends."""
        half_range_v = self._half_range[source.signal] / source.per_volt
        # One converter step inside the screen's edge counts as clipped: a code at the end may hide anything.
        edge_v = half_range_v - 1.5 * (2 * half_range_v / 2**self.bits)
        return Trace(
            codes=codes,
            scale=scale.volts_per_code * source.per_volt,
            offset=scale.volts_at_zero * source.per_volt,
            unit="A" if source.unit == "A" else "V",
            low_code=math.ceil((-edge_v - scale.volts_at_zero) / scale.volts_per_code),
            high_code=math.floor((edge_v - scale.volts_at_zero) / scale.volts_per_code),
        )

    def _garbled(self, what: str, advice: str = "") -> GarbledAnswer:
        return GarbledAnswer(what, instrument=self.session.name, address=self.session.address, advice=advice)

    @abstractmethod
    def _read_scale(self) -> _Scale:
        """Read the preamble of the chosen source."""


def _beyond(capture: Capture, signals: Sequence[str]) -> str:
    """Where codes lie far beyond the range that was set, or nothing."""
    traces = [capture.traces[signal] for signal in signals]
    if all(is_inside(trace.codes, trace.low_code, trace.high_code) for trace in traces):
        return ""
    return (
        "; its codes lie far beyond the range that reads back, so look in the oscilloscope's driver file whether the "
        "preamble belongs to words of two bytes, and whether 'get_vertical' answers volts per division"
    )


class ListPreambleOscilloscope(Oscilloscope):
    """The preamble is one list: format, type, points, count, x increment, origin, reference, y the same three."""

    _words: ListPreambleCommands

    def _read_scale(self) -> _Scale:
        _, _, _, _, dx, x_origin, x_reference, dy, y_origin, y_reference = self._ask_for(
            self._words.get_preamble, _ten_numbers
        )
        return _Scale(dy, -(y_origin + y_reference) * dy, dx, x_origin - x_reference * dx)


def _ten_numbers(answer: str) -> list[float]:
    numbers = [parse_number(part) for part in answer.split(",")]
    if len(numbers) != PREAMBLE_NUMBERS:
        raise ValueError(f"a preamble of {PREAMBLE_NUMBERS} numbers was asked for")
    return numbers


class FieldPreambleOscilloscope(Oscilloscope):
    """Each field of the preamble is a question of its own."""

    _words: FieldPreambleCommands

    def _read_scale(self) -> _Scale:
        dy = self._ask_number(self._words.get_y_multiplier)
        y_offset = self._ask_number(self._words.get_y_offset)
        y_zero = self._ask_number(self._words.get_y_zero)
        return _Scale(
            volts_per_code=dy,
            volts_at_zero=y_zero - y_offset * dy,
            interval_s=self._ask_number(self._words.get_x_increment),
            start_s=self._ask_number(self._words.get_x_zero),
        )
