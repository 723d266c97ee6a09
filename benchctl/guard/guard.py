"""The watcher inside the run: reads, judges, trips.

It reads the supply several times a second and the thermometer once a second. What it cannot read counts as passed.
When a limit is passed it opens the interlock, so that nothing more of the run reaches an instrument, and makes the
bench safe itself, without waiting for the runner to notice.
"""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from benchctl.clock import Clock
from benchctl.errors import BenchctlError, InstrumentError, LimitTripped
from benchctl.guard.limits import Watch, WatchedLimit
from benchctl.guard.safe_state import Confirmation, all_confirmed, make_safe
from benchctl.guard.states import Event, State, after
from benchctl.instruments.bench import Bench
from benchctl.instruments.interlock import Interlock

SAMPLING_PERIOD_S = 0.2
# A heatsink of a kilogram moves by hundredths of a kelvin in a second.
TEMPERATURE_PERIOD_S = 1.0
# A reading older than this is none: the loop was held up by an instrument that did not answer.
STALE_S = 3.0

Report = Callable[..., None]


@dataclass(frozen=True)
class Sensor:
    """A signal that the guard reads by itself."""

    signal: str
    period_s: float
    read: Callable[[], float]


def sensors_of(bench: Bench) -> list[Sensor]:
    """What can be watched on this bench."""
    return _supply_sensors(bench) + _temperature_sensors(bench)


def _supply_sensors(bench: Bench) -> list[Sensor]:
    if not bench.has("supply"):
        return []
    supply = bench.supply
    return [
        Sensor("supply_voltage", SAMPLING_PERIOD_S, lambda: supply.measure_voltage(bench.main_output)),
        Sensor("supply_current", SAMPLING_PERIOD_S, lambda: supply.measure_current(bench.main_output)),
    ]


def _temperature_sensors(bench: Bench) -> list[Sensor]:
    if not bench.has("thermometer"):
        return []
    thermometer = bench.thermometer
    return [Sensor(name, TEMPERATURE_PERIOD_S, partial(thermometer.measure, name)) for name in thermometer.channels]


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
        self._sensors = sensors_of(bench)
        self._due = {sensor.signal: 0.0 for sensor in self._sensors}
        self._read_at: dict[str, float] = {}
        self.watches = [Watch(limit) for limit in limits]
        self.readings: dict[str, float | None] = {}
        self.confirmations: tuple[Confirmation, ...] = ()
        self.energised = False
        self.trouble: BenchctlError | None = None
        self.fault: Exception | None = None  # of the program, in the guard's own thread
        self.state = State.ARMED
        self._hurried = threading.Event()
        self._state_lock = threading.RLock()
        self._stopping = clock.signal()
        self._done = clock.signal()
        self._thread: threading.Thread | None = None

    def start(self) -> None:
        """Begin to watch."""
        self._move(Event.START)
        self._thread = self._clock.start_thread(self._watch, "guard")

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
        if self._thread is not None:
            self._clock.sleep(STALE_S * 4, until=self._done)
        self._make_safe(Event.STOP)
        with self._state_lock:
            if self.state is State.UNSAFE:
                self._settle(make_safe(self._bench, self._hurried))
        return self.confirmations

    def hurry(self) -> None:
        """Wait for no more confirmations: the commands go out, and the guardian, where there is one, asks for them."""
        self._hurried.set()

    @property
    def is_hurried(self) -> bool:
        """Whether confirmations are no longer waited for."""
        return self._hurried.is_set()

    # -- the thread --------------------------------------------------------------------------------------------

    def _watch(self) -> None:
        try:
            self._sample_until_stopped()
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
            self._done.set()

    def _sample_until_stopped(self) -> None:
        while not (self._stopping.is_set() or self._interlock.opened.is_set()):
            started = self._clock.now()
            self._sample(started)
            # The interlock ends this sleep at once; the end of a run can wait for a sampling period.
            self._clock.sleep(started + SAMPLING_PERIOD_S - self._clock.now(), until=self._interlock.opened)

    def _sample(self, now_s: float) -> None:
        taken: dict[str, float | None] = {}
        for sensor in self._sensors:
            if now_s < self._due[sensor.signal] - 1e-9:
                continue
            self._due[sensor.signal] = now_s + sensor.period_s
            taken[sensor.signal] = self._read(sensor)
            self._judge(sensor.signal, taken[sensor.signal])
            if self._interlock.opened.is_set():
                break
        self.readings.update(taken)
        self._trend(now_s, taken)

    def _read(self, sensor: Sensor) -> float | None:
        """One reading; None where there is none, or where it came too long after the one before."""
        before = self._read_at.get(sensor.signal)
        try:
            value = sensor.read()
        except InstrumentError as error:
            if not self._interlock.opened.is_set():
                self._report("reading failed", signal=sensor.signal, reason=str(error))
            return None
        except BenchctlError:  # the interlock opened while we waited
            return None
        now_s = self._clock.now()
        self._read_at[sensor.signal] = now_s
        return None if before is not None and now_s - before > STALE_S + sensor.period_s else value

    # -- judging and tripping ----------------------------------------------------------------------------------

    def _judge(self, signal: str, value: float | None) -> None:
        for watch in self.watches:
            if watch.limit.signal != signal:
                continue
            trip = watch.observe(value, self._clock.now(), energised=self.energised)
            if trip is not None:
                self._trip(trip)
                return

    def _trip(self, reason: LimitTripped) -> None:
        if not self._interlock.open(reason):
            return
        self._make_safe(Event.TRIP)
        self._report(
            "trip", limit=reason.limit, value=reason.value, unit=reason.unit, at_s=reason.time_s, reason=str(reason)
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
            "safe state",
            state=str(self.state),
            instruments=[
                {"instrument": c.instrument, "part": c.part, "confirmed": c.confirmed, "detail": c.detail}
                for c in confirmations
            ],
        )

    def _move(self, event: Event) -> None:
        with self._state_lock:
            self.state = after(self.state, event)
