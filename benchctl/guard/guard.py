"""The watcher inside the run: reads, judges, trips.

It reads the supply several times a second and the thermometer once a second, each in a thread of its own. What it
cannot read counts as passed. When a limit is passed it opens the interlock, so that nothing more of the run reaches an
instrument, and makes the bench safe itself, without waiting for the runner to notice.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from functools import partial

from benchctl.archive.events import SAFE_STATE, TRIP
from benchctl.clock import Clock
from benchctl.errors import BenchctlError, InstrumentError, LimitTripped, SettingsLost
from benchctl.guard.limits import WATCHDOG_S, Watch, WatchedLimit, limit_of_watchdog
from benchctl.guard.safe_state import Confirmation, all_confirmed, make_safe
from benchctl.guard.sampler import STALE_S, Sampler, Sensor, samplers_of
from benchctl.guard.states import Event, State, after
from benchctl.instruments.bench import Bench
from benchctl.instruments.interlock import Interlock

Report = Callable[..., None]


class Guard:
    """Watches limits from `start` to `stop`; afterwards the bench is safe or known not to be.

    Args:
        bench: the open instruments.
        limits: every limit that holds.
        clock, interlock: the run's.
        report: writes an event into the journal.
        trend: takes each sample: time and readings by signal, None where unreadable.
    """

    def __init__(
        self,
        bench: Bench,
        limits: Sequence[WatchedLimit],
        clock: Clock,
        interlock: Interlock,
        *,
        report: Report,
        trend: Callable[[float, Mapping[str, float | None]], None],
    ) -> None:
        self._bench = bench
        self._clock = clock
        self._interlock = interlock
        self._report = report
        self._trend = trend
        self._samplers = samplers_of(bench, {limit.signal for limit in limits})
        self._fresh: dict[str, float | None] = {}  # read since the last row of the trend
        self._has_watchdog = bench.has("supply") and bench.supply.has_watchdog
        self.watches = [Watch(limit) for limit in (*limits, *([limit_of_watchdog()] if self._has_watchdog else []))]
        self.readings: dict[str, float | None] = {}
        self.confirmations: tuple[Confirmation, ...] = ()
        self.energised = False
        self.trouble: BenchctlError | None = None
        self.fault: Exception | None = None  # of the program, in the guard's own thread
        self.state = State.ARMED
        self._hurried = threading.Event()
        self._state_lock = threading.RLock()
        self._judging = threading.Lock()  # around what the watching threads share: watches, fresh readings, their count
        self._stopping = clock.signal()  # the watch ends: the run is over, or the interlock is open
        interlock.tell(self._stopping)
        self._done = clock.signal()
        self._watching = 0

    def start(self) -> None:
        """Begin to watch, and to be watched: where the supply has a watchdog, it is fed from now on.

        Raises:
            InstrumentError: the supply does not take its watchdog's command.
        """
        if self._has_watchdog:
            self._bench.supply.arm_watchdog(WATCHDOG_S)
            self._report("watchdog armed", watchdog_s=WATCHDOG_S)
        self._move(Event.START)
        self._watching = len(self._samplers)
        for sampler in self._samplers:
            sampler.begin(self._clock.now())
        for sampler in self._samplers:
            self._clock.start_thread(partial(self._watch, sampler), "guard")

    def observe(self, signal: str, value: float | None) -> None:
        """Judge a reading that the runner took, such as the output's dc offset from a capture.

        Raises:
            LimitTripped: it was beyond a limit for long enough; the bench is safe by then, or known not to be.
        """
        self.readings[signal] = value
        self._judge(signal, value)
        self._interlock.check()

    def stop(self) -> tuple[Confirmation, ...]:
        """End the watch and make the bench safe, whatever the run came to. Idempotent."""
        self._stopping.set()
        if self._watching:
            self._clock.sleep(STALE_S * 4, until=self._done)
        self._make_safe(Event.STOP)
        with self._state_lock:
            if self.state is State.UNSAFE:
                self._settle(make_safe(self._bench, self._hurried))
        if self._has_watchdog and self.state is State.SAFE:  # otherwise it may be what switches off in the end
            self._disarm_watchdog()
        return self.confirmations

    def hurry(self) -> None:
        """Wait for no more confirmations: the commands go out, and the guardian, where there is one, asks for them."""
        self._hurried.set()

    @property
    def is_hurried(self) -> bool:
        """Whether confirmations are no longer waited for."""
        return self._hurried.is_set()

    def _disarm_watchdog(self) -> None:
        try:
            self._bench.supply.disarm_watchdog()
        except InstrumentError as error:
            self._report("watchdog not disarmed", reason=str(error))

    # -- the threads -------------------------------------------------------------------------------------------

    def _watch(self, sampler: Sampler) -> None:
        try:
            self._sample_until_stopped(sampler)
        except BenchctlError as error:  # the run folder is gone, say: nobody is watching, so nothing may be on
            self._interlock.open(error)
        except Exception as fault:  # noqa: BLE001 - raised by whoever performs the run, once the bench is safe
            self.fault = fault
            self._interlock.open(BenchctlError(f"fault of the program in the guard: {fault!r}"))
        try:
            if self._interlock.opened.is_set():
                self._make_safe(Event.TRIP)
        except BenchctlError as error:
            self.trouble = error
        finally:
            self._end_of_watch()

    def _end_of_watch(self) -> None:
        with self._judging:
            self._watching -= 1
            is_last = not self._watching
        if is_last:
            self._done.set()

    def _sample_until_stopped(self, sampler: Sampler) -> None:
        while not self._stopping.is_set():
            started = self._clock.now()
            self._sample(sampler, started)
            self._look_after_others(sampler)
            self._clock.sleep(started + sampler.period_s - self._clock.now(), until=self._stopping)

    def _sample(self, sampler: Sampler, now_s: float) -> None:
        for sensor in sampler.due(now_s):
            read = self._read(sampler, sensor)
            with self._judging:
                self.readings.update(read)
                if sensor.has_trend:
                    self._fresh.update(read)
            for signal, value in read.items():
                self._judge(signal, value)
            if self._interlock.opened.is_set():
                break
        if sampler is self._samplers[-1]:
            self._write_trend(now_s)

    def _write_trend(self, now_s: float) -> None:
        """One thread writes a row of whatever all of them have read since the last."""
        with self._judging:
            fresh, self._fresh = self._fresh, {}
        self._trend(now_s, fresh)

    def _look_after_others(self, sampler: Sampler) -> None:
        """Another thread may be waiting for an instrument that does not answer."""
        for other in self._samplers:
            for signal in other.stale(self._clock.now()) if other is not sampler else ():
                self._judge(signal, None)

    def _read(self, sampler: Sampler, sensor: Sensor) -> dict[str, float | None]:
        """What a sensor says, by signal; None where it says nothing, or too long after it spoke last."""
        unread: dict[str, float | None] = dict.fromkeys(sensor.signals)
        try:
            values = sensor.read()
        except InstrumentError as error:
            self._deal_with(error, sensor)
            return unread
        except BenchctlError:
            if not self._interlock.opened.is_set():  # it has not opened while we waited: the journal is gone, say
                raise
            return unread
        is_timely = sampler.has_read(sensor, self._clock.now())
        return dict(zip(sensor.signals, values, strict=True)) if is_timely else unread

    def _deal_with(self, error: InstrumentError, sensor: Sensor) -> None:
        if self._stopping.is_set():  # the safe state sets otherwise than the run did
            return
        if sensor.signals:
            self._report("reading failed", signals=sensor.signals, reason=str(error))
        # An instrument that lost its settings has others, whatever it reads now, and however long that may be passed.
        if not sensor.signals or isinstance(error, SettingsLost):
            self._interlock.open(error)

    # -- judging and tripping ----------------------------------------------------------------------------------

    def _judge(self, signal: str, value: float | None) -> None:
        for watch in self.watches:
            if watch.limit.signal != signal:
                continue
            with self._judging:
                trip = watch.observe(value, self._clock.now(), energised=self.energised)
            if trip is not None:
                self._trip(trip)
                return

    def _trip(self, reason: LimitTripped) -> None:
        if not self._interlock.open(reason):
            return
        self._make_safe(Event.TRIP)
        self._report(
            TRIP, limit=reason.limit, value=reason.value, unit=reason.unit, at_s=reason.time_s, reason=str(reason)
        )

    def _make_safe(self, event: Event) -> None:
        """Once, by whichever thread comes first."""
        with self._state_lock:
            if self.state not in {State.ARMED, State.WATCHING}:
                return
            self._move(event)
            self._settle(make_safe(self._bench, self._hurried))

    def _settle(self, confirmations: tuple[Confirmation, ...]) -> None:
        self.confirmations = confirmations
        self._move(Event.CONFIRMED if all_confirmed(confirmations) else Event.UNCONFIRMED)
        self._report(
            SAFE_STATE,
            state=str(self.state),
            instruments=[
                {"instrument": c.instrument, "part": c.part, "confirmed": c.confirmed, "detail": c.detail}
                for c in confirmations
            ],
        )

    def _move(self, event: Event) -> None:
        with self._state_lock:
            self.state = after(self.state, event)
