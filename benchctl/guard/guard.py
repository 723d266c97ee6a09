"""The watcher inside the run: it reads, judges and trips.

It reads the supply several times a second and the thermometer once a second, each in a thread of its own. One more
thread notices when readings stop coming. What cannot be read counts as over its limit. When a limit is passed, the
guard opens the interlock, so that nothing more of the run reaches an instrument, and makes the bench safe itself,
without waiting for the runner. If a part of that is not confirmed, it hands the bench over to the guardian, if there is
one.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from functools import partial

from benchctl.archive.journal.events import NOT_YET_CONFIRMED, SAFE_STATE, STOPPING, TRIP
from benchctl.clock import Clock
from benchctl.documents.model.limits import SUPPLY_VOLTAGE
from benchctl.errors import BenchctlError, InstrumentError, LimitTripped, SettingsLost
from benchctl.guard.confirmation import Confirmation, all_confirmed
from benchctl.guard.herald import Herald, Listener
from benchctl.guard.limits import (
    SUPPLY_PROTECTION,
    TOO_LATE,
    UNREADABLE,
    WATCHDOG_S,
    LimitWatch,
    WatchedLimit,
    limit_of_watchdog,
)
from benchctl.guard.safe_state import LATE_S, Rest, SafeState, Tell, safe_state_of
from benchctl.guard.sampler import SAMPLING_PERIOD_S, Sampler, Sensor, samplers_of
from benchctl.guard.states import GuardEvent, State, after
from benchctl.guard.tripped import tripped_outputs
from benchctl.instruments.bench import Bench
from benchctl.instruments.interlock import Interlock

Report = Callable[..., None]
# Hands the bench to the guardian and waits at most so many seconds for the result.
HandOver = Callable[[tuple[Confirmation, ...], float], tuple[Confirmation, ...]]

# If no readings are watched, the end of the run is checked this often.
LOOK_OUT_S = 10.0
# A reading that is so much later than it is due is shown as old.
OLD_S = 1.0
# At the end of a run, a thread that is reading may finish; a thread that waits for a silent instrument is left behind.
LAST_READING_S = 1.0
# The run waits this long for the guardian and then ends; the guardian goes on trying.
GUARDIAN_S = 3.5
# The thread that makes the bench safe has ended by then, with or without the guardian's help.
SETTLED_S = 8.0


class Guard:
    """Watches limits from `start` to `stop`; afterwards the bench is safe or known not to be.

    Args:
        bench: the open instruments.
        limits: every limit that holds.
        clock, interlock: the run's.
        report: writes an event into the journal.
        trend: takes each sample: time and readings by signal, None where unreadable.
        listener: who is told at once that the run stops and what may still be on.
        has_guardian: whether a guardian goes on with what does not confirm; see `leave_to`. A dry run has none.
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
        listener: Listener | None = None,
        has_guardian: bool = False,
    ) -> None:
        self._bench = bench
        self._clock = clock
        self._interlock = interlock
        self._report = report
        self._trend = trend
        self._watched = {limit.signal for limit in limits}
        self._plan_readings()
        self._fresh: dict[str, float | None] = {}  # read since the last row of the trend
        self._has_watchdog = bench.has("supply") and bench.supply.has_watchdog
        self.watches = [
            LimitWatch(limit) for limit in (*limits, *([limit_of_watchdog()] if self._has_watchdog else []))
        ]
        self.readings: dict[str, float | None] = {}
        self._read_at_s: dict[str, float] = {}
        self._unread: dict[str, str] = {}  # why there is no value
        self.confirmations: tuple[Confirmation, ...] = ()
        self.tripped_outputs: tuple[str, ...] = ()  # of the supply, by its own protection, once the bench is safe
        self.energised = False
        self.trouble: BenchctlError | None = None
        self.fault: Exception | None = None  # of the program, in the guard's own thread
        self.state = State.ARMED
        self._hurried = threading.Event()
        self._state_lock = threading.RLock()
        self._judging = threading.Lock()  # around what the watching threads share: watches, fresh readings, their count
        self._herald = Herald(listener, waits=not has_guardian)
        self._has_guardian = has_guardian
        self._hand_over: HandOver | None = None
        self._making: SafeState | None = None
        self._alarmed: set[tuple[str, str]] = set()  # instrument and part
        self._stopping = clock.signal()  # the watch ends: the run is over, or the interlock is open
        interlock.tell(self._stopping)
        self._done = clock.signal()  # nobody reads any more
        self._settled = clock.signal()  # the bench is safe, or known not to be
        self._watching = 0

    def _plan_readings(self) -> None:
        """Plan which signals are read how often. How long the instruments take to answer is known after they were asked
        something.
        """
        self._samplers = samplers_of(self._bench, self._watched)
        self._period_s = {signal: period_s for each in self._samplers for signal, period_s in each.periods_s()}

    def leave_to(self, hand_over: HandOver) -> None:
        """From now on a guardian is ready to take over."""
        self._hand_over = hand_over

    def start(self) -> None:
        """Begin to watch. If the supply has a watchdog, it is armed, and fed from now on.

        Raises:
            InstrumentError: the supply does not accept the command for its watchdog.
        """
        if self._has_watchdog:
            self._bench.supply.arm_watchdog(WATCHDOG_S)
            self._report("watchdog armed", watchdog_s=WATCHDOG_S)
        self._move(GuardEvent.START)
        self._plan_readings()
        self._watching = len(self._samplers)
        for sampler in self._samplers:
            sampler.begin(self._clock.now())
        for sampler in self._samplers:
            self._clock.start_thread(partial(self._watch, partial(self._sample_until_stopped, sampler)), "guard")
        self._clock.start_thread(partial(self._watch, self._look_out), "lookout")

    def observe(self, signal: str, value: float | None, limit_of_error: float = 0.0) -> None:
        """Judge a reading that the runner took, such as the output's dc offset from a capture. It is over the limit if
        it is beyond it by more than its limit of error.

        Raises:
            LimitTripped: it was over a limit for long enough; the bench is being made safe.
        """
        self._note({signal: value})
        self._judge(signal, value, limit_of_error)
        self._interlock.check()

    def check_supply_protection(self) -> None:
        """Check that the supply has not switched its main output off by itself, before the amplifier is blamed for it.

        Raises:
            LimitTripped: it has; the bench is being made safe.
            InstrumentError: the supply does not answer the question.
        """
        if self._bench.has("supply"):
            self.observe(SUPPLY_PROTECTION, self._bench.supply.tripped_protections(self._bench.main_output))

    def old_s(self, signal: str) -> float | None:
        """The age of the last reading of this signal if it is older than it should be; otherwise None."""
        read_at_s = self._read_at_s.get(signal)
        if read_at_s is None:
            return None
        age_s = self._clock.now() - read_at_s
        return age_s if age_s > self._period_s.get(signal, 0.0) + OLD_S else None

    def is_sampled(self, signal: str) -> bool:
        """Whether the guard reads this signal all the time; other signals are read only in some steps."""
        return signal in self._period_s

    @property
    def parts(self) -> tuple[Confirmation, ...]:
        """Each part of the safe state with its result so far; empty before the run stops."""
        if self.confirmations or self._making is None:
            return self.confirmations
        return self._making.confirmations

    def confirm_safe(self) -> tuple[Confirmation, ...]:
        """Bring the bench into the safe state before anything is switched on; the last user may have left it on."""
        return safe_state_of(self._bench, rest=self._rest).carry_out()

    def stop(self) -> tuple[Confirmation, ...]:
        """Stop watching and make the bench safe, however the run ended. A second call changes nothing."""
        self._stopping.set()
        if self._watching:
            self._clock.sleep(LAST_READING_S, until=self._done)
        self._make_safe(GuardEvent.STOP)
        if not self._settled.is_set():
            self._clock.sleep(SETTLED_S, until=self._settled)
        if self._hand_over is None:
            self.try_again()
        self._look_for_tripped_outputs()
        if self._has_watchdog and self.state is State.SAFE:  # otherwise it may be what switches off in the end
            self._disarm_watchdog()
        self._herald.finish()
        return self.confirmations

    def try_again(self) -> None:
        """Command and ask each part that did not confirm once more; its instrument may answer again by now."""
        if self.state is State.UNSAFE:
            self._settle(self._safe_state(lambda _: None).carry_out())

    def _look_for_tripped_outputs(self) -> None:
        """Where a run ended early, and its links still are its own."""
        if self._interlock.reason is not None and self.state is State.SAFE and not self.is_hurried:
            self.tripped_outputs = tripped_outputs(self._bench, self._report)

    def hurry(self) -> None:
        """Do not wait for confirmations any more. The commands go out, and the guardian, if there is one, asks for
        them.
        """
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

    def _watch(self, work: Callable[[], None]) -> None:
        try:
            work()
        except BenchctlError as error:  # the run folder is gone, say: nobody is watching, so nothing may be on
            self._interlock.open(error)
        except Exception as fault:  # noqa: BLE001 - raised by whoever performs the run, once the bench is safe
            self.fault = fault
            self._interlock.open(BenchctlError(f"error in the program in the guard: {fault!r}"))
        try:
            if self._interlock.opened.is_set():
                self._make_safe(GuardEvent.TRIP)
        except BenchctlError as error:
            self.trouble = error

    def _look_out(self) -> None:
        """Notice what the reading threads cannot notice themselves: readings stop coming if a thread waits for an
        instrument that does not answer; and the thread that opened the interlock may be waiting too.
        """
        while not self._stopping.is_set():
            now_s = self._clock.now()
            for signal in [signal for sampler in self._samplers for signal in sampler.stale(now_s)]:
                self._judge(signal, None, why=self._since_when(signal, now_s))
            stale_at_s = min(now_s + LOOK_OUT_S, *(sampler.stale_at_s() for sampler in self._samplers))
            # A limit on a signal that is stale may have to be passed for longer.
            wait_s = stale_at_s - now_s if stale_at_s > now_s else SAMPLING_PERIOD_S
            self._clock.sleep(wait_s, until=self._stopping)

    def _end_of_watch(self) -> None:
        with self._judging:
            self._watching -= 1
            is_last = not self._watching
        if is_last:
            self._done.set()

    def _sample_until_stopped(self, sampler: Sampler) -> None:
        try:
            while not self._stopping.is_set():
                started = self._clock.now()
                self._sample(sampler, started)
                self._clock.sleep(started + sampler.period_s - self._clock.now(), until=self._stopping)
        finally:
            self._end_of_watch()

    def _sample(self, sampler: Sampler, now_s: float) -> None:
        for sensor in sampler.due(now_s):
            read = self._read(sampler, sensor)
            if self._has_fallen(read):
                read = self._read_protection(sampler) | read  # judged first: it may be why
            with self._judging:
                self._note(read)
                if sensor.has_trend:
                    self._fresh.update({signal: read[signal] for signal in sensor.signals})
            for signal, value in read.items():
                self._judge(signal, value, why=self._unread.get(signal, UNREADABLE))
            if self._interlock.opened.is_set():
                break
        if sampler is self._samplers[-1]:
            self._write_trend(now_s)

    def _has_fallen(self, read: Mapping[str, float | None]) -> bool:
        """Whether the supply voltage is below a limit, as when the supply has switched its output off by itself."""
        voltage_v = read.get(SUPPLY_VOLTAGE)
        bounds = (watch.limit for watch in self.watches if watch.limit.signal == SUPPLY_VOLTAGE)
        return voltage_v is not None and self.energised and any(voltage_v < limit.bound.low for limit in bounds)

    def _read_protection(self, sampler: Sampler) -> dict[str, float | None]:
        sensor = sampler.sensor_of(SUPPLY_PROTECTION)
        return {} if sensor is None else self._read(sampler, sensor)

    def _write_trend(self, now_s: float) -> None:
        """Write a row with everything that was read since the last row. One thread does this for all."""
        with self._judging:
            fresh, self._fresh = self._fresh, {}
        self._trend(now_s, fresh)

    def _note(self, read: Mapping[str, float | None]) -> None:
        """Keep what was read, and when. A reading that failed does not change the time of the last good one."""
        self.readings.update(read)
        now_s = self._clock.now()
        self._read_at_s.update({signal: now_s for signal, value in read.items() if value is not None})

    def _read(self, sampler: Sampler, sensor: Sensor) -> dict[str, float | None]:
        """The values of a sensor by signal; None if it gives none, or if they come too long after the last ones."""
        unread: dict[str, float | None] = dict.fromkeys(sensor.signals)
        try:
            values = sensor.read()
        except InstrumentError as error:
            self._unread.update(dict.fromkeys(sensor.signals, UNREADABLE))
            self._deal_with(error, sensor)
            return unread
        except BenchctlError:
            if not self._interlock.opened.is_set():  # it has not opened while we waited: the journal is gone, say
                raise
            return unread
        if sampler.has_read(sensor, self._clock.now()):
            return dict(zip(sensor.signals, values, strict=True))
        self._unread.update(dict.fromkeys(sensor.signals, TOO_LATE))
        return unread

    def _since_when(self, signal: str, now_s: float) -> str:
        """For how long no reading has come. A slow or silent instrument may still be readable."""
        read_at_s = self._read_at_s.get(signal)
        return "has not come" if read_at_s is None else f"has not come for {now_s - read_at_s:.1f} s"

    def _deal_with(self, error: InstrumentError, sensor: Sensor) -> None:
        if self._stopping.is_set():  # the safe state sets otherwise than the run did
            return
        if sensor.signals:
            self._report("reading failed", signals=sensor.signals, reason=str(error))
        # An instrument that lost its settings has other ones now. That ends the run, whatever it reads and however long
        # a limit may be passed.
        if not sensor.signals or isinstance(error, SettingsLost):
            self._interlock.open(error)

    # -- judging and tripping ----------------------------------------------------------------------------------

    def _judge(self, signal: str, value: float | None, limit_of_error: float = 0.0, why: str = UNREADABLE) -> None:
        for watch in self.watches:
            if watch.limit.signal != signal:
                continue
            with self._judging:
                trip = watch.observe(value, self._clock.now(), limit_of_error, energised=self.energised, why=why)
            if trip is not None:
                self._trip(trip)
                return

    def _trip(self, reason: LimitTripped) -> None:
        if self._stopping.is_set() or not self._interlock.open(reason):
            return  # once the run has ended, what is read has been switched off
        self._make_safe(GuardEvent.TRIP)

    def _make_safe(self, event: GuardEvent) -> None:
        """Make the bench safe once, in the first thread that calls this; `stop` waits for it."""
        with self._state_lock:
            if self.state not in {State.ARMED, State.WATCHING}:
                return
            self._move(event)
        try:
            self._making = self._safe_state(self._alarm)
            self._settle(self._making.carry_out(self._announce))
            if self._hand_over is not None and not all_confirmed(self.confirmations):
                self._leave_to_guardian(self._hand_over)
        finally:
            self._settled.set()

    def _safe_state(self, tell: Tell) -> SafeState:
        return safe_state_of(self._bench, self._hurried, tell=tell, leaves_rest=self._has_guardian, rest=self._rest)

    @property
    def _rest(self) -> Rest | None:
        """What lets time pass in a dry run, which has no guardian."""
        return None if self._has_guardian else self._clock.sleep

    def _announce(self) -> None:
        """Tell the observers. This comes after everything was switched off."""
        reason = self._interlock.reason
        if reason is not None:
            self._herald.tell(lambda listener: listener.stopping, f"STOPPING: {reason}")
            self._report(STOPPING, at_s=self._interlock.opened_s, reason=str(reason))
        if isinstance(reason, LimitTripped):
            self._report(
                TRIP, limit=reason.limit, value=reason.value, unit=reason.unit, at_s=reason.time_s, reason=str(reason)
            )

    def _alarm(self, confirmation: Confirmation) -> None:
        """A part has failed to confirm, or is late."""
        name = (confirmation.instrument, confirmation.part)
        if name in self._alarmed:
            return
        self._alarmed.add(name)
        self._herald.tell(lambda listener: listener.alarm, confirmation.alarm)
        self._report(NOT_YET_CONFIRMED, **asdict(confirmation), by_hand=confirmation.by_hand)

    def _leave_to_guardian(self, hand_over: HandOver) -> None:
        """Hand the bench over. The guardian has links of its own to the instruments, and goes on trying after the run
        has ended.
        """
        if self._hurried.is_set():
            hand_over(self.confirmations, 0.0)
            return
        told = hand_over(self.confirmations, LATE_S)
        for each in told:
            if not each.confirmed:
                self._alarm(each)
        if not all_confirmed(told):
            told = hand_over(told, GUARDIAN_S - LATE_S)
        for each in told:
            if each.confirmed and (each.instrument, each.part) in self._alarmed:
                self._herald.tell(lambda listener: listener.relief, f"{each}, by the guardian")
        self._settle(told)

    def _settle(self, confirmations: tuple[Confirmation, ...]) -> None:
        self.confirmations = confirmations
        self._move(GuardEvent.CONFIRMED if all_confirmed(confirmations) else GuardEvent.UNCONFIRMED)
        self._report(
            SAFE_STATE,
            state=str(self.state),
            instruments=[asdict(each) for each in confirmations],
        )

    def _move(self, event: GuardEvent) -> None:
        with self._state_lock:
            self.state = after(self.state, event)
