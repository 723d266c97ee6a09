"""Takes one record: sets time base and trigger, waits until it is whole, and looks whether it is long enough."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from zlib import crc32

from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.errors import MeasurementError, NoAnswer, NoRecord
from benchctl.instruments.oscilloscope.fetching import Fetching
from benchctl.instruments.oscilloscope.record import Input, Record
from benchctl.instruments.oscilloscope.scale import Scale
from benchctl.instruments.oscilloscope.timing import UNASKED_S, Ratings, Setup, setup_for
from benchctl.instruments.session import Session
from benchctl.measure.signal.record import Capture, Trace
from benchctl.quantity import render_time

# How often the instrument is asked whether the record is whole: each question costs it work too.
POLL_S = 0.05
# Where it waits for a slow trigger, no oftener than this.
POLLS_A_TRIGGER = 5
# Patience beyond the record's own length and the wait for its trigger: re-arming, processing.
PATIENCE_S = 3.0
# A sync output is TTL or CMOS (common practice), so at 1 V its edge is steep and its low level far away.
SYNC_LEVEL_V = 1.0
# Time bases tried for one record before it is given up, and how much longer each is than the last.
TIME_BASES_TRIED = 4
LONGER = 2.0
# A record that lacks less than this part of what was wanted is long enough.
SHORT_BY = 0.01

Sleep = Callable[[float], object]


class Acquiring(Fetching):
    """One acquisition at a time."""

    def __init__(  # noqa: PLR0917 - what it is, what it is wired to, and how it waits
        self,
        session: Session,
        driver: OscilloscopeDriver,
        inputs: Mapping[str, Input],
        ratings: Ratings,
        trigger_channel: int | None,
        sleep: Sleep,
    ) -> None:
        super().__init__(session, driver, inputs, ratings)
        self._trigger_channel = trigger_channel
        self._sleep = sleep
        self._setup: Setup | None = None
        self._seen: tuple[int, ...] = ()

    def _set_mode(self) -> None:
        """No probe is between the generator's sync output and its channel."""
        super()._set_mode()
        if self._trigger_channel is not None:
            self._say(self._words.set_probe, channel=self._trigger_channel, probe_ratio=1.0, probe_gain=1.0)

    def _acquire(self, name: str, signals: Sequence[str], record: Record) -> Capture:
        """A record that holds all of what is wanted.

        Raises:
            MeasurementError: no time base gives one.
        """
        wanted, longer = record, 1.0
        for _ in range(TIME_BASES_TRIED):
            setup = self._set_record(wanted, signals, longer)
            capture = self._take(name, signals, record, setup)
            if not _lacks(capture, record, setup):
                return capture if setup.rolls else _cut(capture, record)
            part = capture.duration_s / setup.span_s
            if capture.duration_s > record.span_s and part < 1 - SHORT_BY:
                # Long enough, but shorter than was set, so that a part of it lies less long before the trigger.
                wanted = replace(record, pretrigger_s=record.pretrigger_s / part)
            else:
                longer *= LONGER
        raise MeasurementError(
            f"the oscilloscope's record is {render_time(capture.duration_s)} long, from "
            f"{render_time(capture.start_s)}, where {render_time(record.span_s)} are needed from "
            f"{render_time(-record.pretrigger_s)}; a longer time base does not help. Look in its driver file at "
            "'set_record', 'get_time_base' and 'memory'"
        )

    def _set_record(self, record: Record, signals: Sequence[str], longer: float = 1.0) -> Setup:
        """Set time base, length and trigger; the time base is `longer` times what the record needs."""
        channels = len({self.inputs[signal].channel for signal in signals})
        setup = setup_for(record, self._oscilloscope, self.ratings, channels)
        if longer > 1.0:
            setup = setup_for(record, self._oscilloscope, self.ratings, channels, setup.span_s * longer)
        self._setup = setup = self._settled(record, channels, setup)
        if not setup.rolls:
            self._set_trigger(record)
        return setup

    def _settled(self, record: Record, channels: int, setup: Setup) -> Setup:
        """Set the time base until the instrument says that it is long enough; what it says counts."""
        needed_s = setup.span_s
        self._send_record(setup)
        for _ in range(TIME_BASES_TRIED):
            got_s = self._span_told(setup)
            if math.isclose(got_s, setup.span_s, rel_tol=SHORT_BY):
                break
            # Long enough: the trigger is placed anew. Too short: the next time base is asked for.
            wanted_s = got_s if got_s > (1 - SHORT_BY) * needed_s else setup.span_s * LONGER
            setup = setup_for(record, self._oscilloscope, self.ratings, channels, wanted_s)
            self._send_record(setup)
        return setup

    def _take_again(self, name: str, signals: Sequence[str], record: Record) -> Capture:
        """As `_acquire`, where the same record was acquired just before."""
        if self._setup is None:
            return self._acquire(name, signals, record)
        return _cut(self._take(name, signals, record, self._setup), record)

    def _send_record(self, setup: Setup) -> None:
        self._say(self._words.set_record, **setup.values(self._oscilloscope.divisions.horizontal))

    def _span_told(self, setup: Setup) -> float:
        """The length of the record by the instrument's own time base."""
        if not self._words.get_time_base:
            return setup.span_s
        got = self._ask_number(self._words.get_time_base)
        if got <= 0:
            raise self._garbled(f"says that its time base is {got:g}")
        uses = self._words.set_record.uses
        if "seconds_per_division" in uses:
            return got * self._oscilloscope.divisions.horizontal
        if "span_s" in uses:
            return got
        return got * setup.samples if "interval_s" in uses else setup.samples / got

    def _set_trigger(self, record: Record) -> None:
        if not record.triggered and self._words.trigger_free:
            self._say(self._words.trigger_free)
        elif self._trigger_channel is None:
            self._say(self._words.trigger_external)
        else:
            self._say(self._words.trigger_channel, channel=self._trigger_channel, level_v=SYNC_LEVEL_V)

    def _take(
        self,
        name: str,
        signals: Sequence[str],
        record: Record,
        setup: Setup,
        meanwhile: Callable[[], object] | None = None,
    ) -> Capture:
        """`meanwhile` is done once the record has begun."""
        self._run_once(record, setup, meanwhile)
        fetched = self._fetch_all(signals, record, setup)
        self.check_errors()
        first = fetched[0][0]
        return Capture(
            name=name,
            start_s=first.start_s,
            interval_s=first.interval_s,
            traces={signal: trace for signal, (_, trace) in zip(signals, fetched, strict=True)},
            taken_s=0.0,
        )

    def _fetch_all(self, signals: Sequence[str], record: Record, setup: Setup) -> list[tuple[Scale, Trace]]:
        """The record of each signal. An instrument that is not asked whether there is one may have none, or still the
        last one."""
        if self._words.get_finished:
            return [self._fetch(self.inputs[signal], setup) for signal in signals]
        try:
            fetched = [self._fetch(self.inputs[signal], setup) for signal in signals]
        except NoAnswer as error:
            raise self._no_record(setup.span_s + record.trigger_every_s) from error
        # Noise makes each record another one, unless it shows nothing at all.
        seen = tuple(crc32(trace.codes.tobytes()) for _, trace in fetched if trace.codes.min() != trace.codes.max())
        if seen and seen == self._seen:
            raise self._no_record(setup.span_s + record.trigger_every_s)
        self._seen = seen
        return fetched

    def _run_once(self, record: Record, setup: Setup, meanwhile: Callable[[], object] | None = None) -> None:
        """Until there is a new record."""
        self._say(self._words.single)
        if not record.triggered and not self._words.trigger_free:
            self._say(self._words.force_trigger)
        if meanwhile is not None:
            meanwhile()
        self._wait(record, setup)

    # -- waiting -----------------------------------------------------------------------------------------------

    def _wait(self, record: Record, setup: Setup) -> None:
        """Until the record is whole. Asking again and again keeps the link free for an emergency stop."""
        every_s = 0.0 if setup.rolls else record.trigger_every_s
        question = self._words.get_finished
        if not question or question.waits:
            self._sleep(setup.span_s + every_s + UNASKED_S)
            if question:
                self._await_answer(record, setup)
            return
        # The pretrigger must fill, one trigger period may pass, and the record must run: less than this.
        allowed_s = 2 * setup.span_s + every_s + PATIENCE_S
        poll_s = max(POLL_S, every_s / POLLS_A_TRIGGER)
        self._sleep(setup.span_s if setup.rolls else setup.span_s - setup.pretrigger_s)
        for _ in range(math.ceil(allowed_s / poll_s)):
            if self._ask_truth(question):
                return
            self._sleep(poll_s)
        self._say(self._words.stop)
        raise self._no_record(allowed_s + setup.span_s)

    def _await_answer(self, record: Record, setup: Setup) -> None:
        """Ask the question that is answered only when the record is whole."""
        try:
            self._ask_for(self._words.get_finished, str)
        except NoAnswer as error:
            self._say(self._words.stop)
            raise self._no_record(setup.span_s + record.trigger_every_s) from error

    def _no_record(self, within_s: float) -> NoRecord:
        return NoRecord(
            f"no whole record within {within_s:.1f} s",
            instrument=self.session.name,
            address=self.session.address,
            advice="Look at the trigger: is the generator's sync output wired to it, and is the generator on?",
        )


def _lacks(capture: Capture, record: Record, setup: Setup) -> bool:
    """Whether a record is shorter than wanted, or begins too late."""
    room_s = SHORT_BY * record.span_s + capture.interval_s
    if setup.rolls or not record.triggered:
        return capture.duration_s < record.span_s - room_s
    starts_late = capture.start_s > -record.pretrigger_s + room_s
    end_s = capture.start_s + capture.duration_s
    return starts_late or end_s < record.span_s - record.pretrigger_s - room_s


def _cut(capture: Capture, record: Record) -> Capture:
    """What was wanted of a longer record."""
    if capture.duration_s < (1 + SHORT_BY) * record.span_s:
        return capture
    start_s = max(capture.start_s, -record.pretrigger_s) if record.triggered else capture.start_s
    return capture.window(start_s, min(start_s + record.span_s, capture.start_s + capture.duration_s))
