"""Every limit that holds in a run, and for how long each has been passed."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.sight import unwatched
from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.documents.model.limits import Limit, Limits, TemperatureLimit
from benchctl.documents.sequence_file.sequence import Sequence
from benchctl.errors import LimitTripped
from benchctl.quantity import render

# A rise is computed over this time, so long that one step of a thermometer's last digit does not count as one.
RISE_SEEN_S = 20.0


# The number of the main output's own protections that have tripped.
SUPPLY_PROTECTION = "supply_protection"
# A question without an answer gives no information. It is asked every other second; one answer may be lost.
PROTECTION_SEEN_S = 3.0

# Why there is no value: the instrument gave none, or it came too late to describe the present.
UNREADABLE = "cannot be read"
TOO_LATE = "came too late"

# Whether the supply's watchdog has tripped, and how long it waits to be fed. If the supply does not answer for three
# seconds, the guard ends the run. A watchdog must wait longer than that on a busy computer, or it would switch off
# without need.
SUPPLY_WATCHDOG = "supply_watchdog"
WATCHDOG_S = 10.0


class ProtectionLimit(Limit):
    """The supply's own over-voltage and over-current protection. When it trips, the amplifier has no supply. The
    question was asked twice by then, so the limit trips without waiting.
    """

    unit: ClassVar[str] = "tripped"
    sentence: ClassVar[str] = "the supply's own protection (over-voltage or over-current) has switched its output off"

    def patience_s(self, value: float | None) -> float:
        """Of what cannot be read only."""
        return self.for_s if value is None else 0.0

    def __str__(self) -> str:
        return "none may trip"


class WentOffLimit(ProtectionLimit):
    """For a supply that does not report its trips: an output that was switched on is off, whatever the reason."""

    sentence: ClassVar[str] = (
        "the supply's output went off, and this run did not switch it off; the supply cannot tell why: a protection "
        "of its own, a hand at its panel, or another program"
    )


class WatchdogLimit(Limit):
    """The supply's own watchdog: it must be fed, and when it trips every output is off."""

    unit: ClassVar[str] = "tripped"

    def __str__(self) -> str:
        return "must be fed and may not trip"


@dataclass(frozen=True)
class WatchedLimit:
    """A limit on a signal, and which document set it."""

    signal: str
    bound: Limit
    origin: str

    def is_passed(self, value: float | None, limit_of_error: float = 0.0, *, energised: bool) -> bool:
        """Whether a reading is over the limit by more than its limit of error. A value that is not a number or cannot
        be read (None) is over the limit.

        A lower bound on the supply holds only between power_on and power_off.
        """
        if value is None or not (math.isfinite(value) and math.isfinite(limit_of_error)):
            return True
        if self.signal.startswith("supply_") and not energised:
            return value > self.bound.high
        return self.bound.is_passed(value, limit_of_error)

    def __str__(self) -> str:
        return f"{self.signal} {self.bound} (of the {self.origin} file)"


def limits_of(sequence: Sequence, bench: Bench, amplifier: Amplifier) -> list[WatchedLimit]:
    """The sequence's limits, and with them those of bench and amplifier, which always hold."""
    not_watched = unwatched(bench, amplifier)
    return [limit for limit in _all(sequence, bench, amplifier) if limit.signal not in not_watched]


def unwatched_limits_of(sequence: Sequence, bench: Bench, amplifier: Amplifier) -> list[WatchedLimit]:
    """The limits without effect: by the bench file, nothing reads their signals."""
    not_watched = unwatched(bench, amplifier)
    return [limit for limit in _all(sequence, bench, amplifier) if limit.signal in not_watched]


def _all(sequence: Sequence, bench: Bench, amplifier: Amplifier) -> Iterator[WatchedLimit]:
    yield from _from(sequence.limits, "sequence")
    yield from _from(bench.limits, "bench")
    yield from _of_amplifier(amplifier, bench)
    yield from _of_supply(bench)


def _from(limits: Limits, origin: str) -> Iterator[WatchedLimit]:
    for signal, bound in limits.items():
        yield WatchedLimit(signal, bound, origin)


def _of_amplifier(amplifier: Amplifier, bench: Bench) -> Iterator[WatchedLimit]:
    """The amplifier's maximum heatsink temperature, for every sensor on the heatsink."""
    thermometer = bench.instruments.thermometer
    others = thermometer.channels.others if thermometer is not None else {}
    for sensor in ("heatsink", *(name for name in others if name.startswith("heatsink_"))):
        yield WatchedLimit(sensor, TemperatureLimit(above=amplifier.heatsink.maximum_c), "amplifier")


def _of_supply(bench: Bench) -> Iterator[WatchedLimit]:
    if bench.instruments.supply is not None:
        driver = bench.drivers.get("supply")
        tells = not isinstance(driver, SupplyDriver) or bool(driver.commands.get_tripped)
        limit = ProtectionLimit if tells else WentOffLimit
        yield WatchedLimit(SUPPLY_PROTECTION, limit(above=0.0, for_s=PROTECTION_SEEN_S), "bench")


def limit_of_watchdog() -> WatchedLimit:
    """The limit of the watchdog, if the supply's driver has commands for one."""
    return WatchedLimit(SUPPLY_WATCHDOG, WatchdogLimit(above=0.0, for_s=PROTECTION_SEEN_S), "driver")


class LimitWatch:
    """A limit that remembers since when it has been passed.

    A signal that cannot be read counts as passed since its last good reading: its value in between is unknown.
    """

    def __init__(self, limit: WatchedLimit) -> None:
        self.limit = limit
        self.value: float | None = None
        self._recent: deque[tuple[float, float]] = deque()
        self._kept_s: float | None = None
        self._since_s: float | None = None

    def observe(
        self,
        value: float | None,
        now_s: float,
        limit_of_error: float = 0.0,
        *,
        energised: bool = True,
        why: str = UNREADABLE,
    ) -> LimitTripped | None:
        """Take a reading (None: there is none, and `why`). Returns the trip when the limit has been passed for long
        enough.
        """
        self.value = value
        too_steep = value is not None and self._rise(value, now_s) > self.limit.bound.steepest
        if not (too_steep or self.limit.is_passed(value, limit_of_error, energised=energised)):
            self._kept_s, self._since_s = now_s, None
            return None
        if self._since_s is None:
            self._since_s = self._kept_s if value is None and self._kept_s is not None else now_s
        # Sums of sampling periods fall a rounding error short of the time they are compared with.
        if now_s - self._since_s < self.limit.bound.patience_s(value) - 1e-9:
            return None
        return LimitTripped(
            self.limit.signal, value, self.limit.bound.unit, now_s, self._words(now_s, limit_of_error, why)
        )

    def _rise(self, value: float, now_s: float) -> float:
        """How fast the signal rises, in its unit per second; 0 until it has been read for long enough."""
        self._recent.append((now_s, value))
        while now_s - self._recent[0][0] > RISE_SEEN_S + 1e-9:
            self._recent.popleft()
        first_s, first = self._recent[0]
        seen_s = now_s - first_s
        return (value - first) / seen_s if seen_s >= RISE_SEEN_S / 2 else 0.0

    def _words(self, now_s: float, limit_of_error: float, why: str) -> str:
        unit, sentence = self.limit.bound.unit, self.limit.bound.sentence
        if sentence and self.value is not None:
            return f"{sentence}, seen at {now_s:.1f} s"
        reading = why if self.value is None else f"is {render(self.value, unit)}"
        if self.value is not None and limit_of_error:
            reading += f" ± {render(limit_of_error, unit, digits=2)}"
        return f"{self.limit.signal} {reading} at {now_s:.1f} s; the limit: {self.limit}"
