"""Bursts that the run begins itself, one after the other, because the generator has no rhythm of its own."""

from __future__ import annotations

from benchctl.clock import Clock
from benchctl.errors import BenchctlError
from benchctl.instruments.generator import Generator


class Rhythm:
    """A thread that triggers a burst every so often, and knows how evenly it did."""

    def __init__(self, generator: Generator, clock: Clock, every_s: float) -> None:
        self._generator = generator
        self._clock = clock
        self._every_s = every_s
        self._over = clock.signal()
        self._ended = clock.signal()
        self._began_s: list[float] = []
        self._trouble: BenchctlError | None = None

    def start(self) -> None:
        """The first burst begins at once."""
        self._clock.start_thread(self._beat, "rhythm of bursts")

    def stop(self) -> None:
        """No burst begins any more.

        Raises:
            BenchctlError: one could not be begun.
        """
        self._over.set()
        self._clock.sleep(LONGEST_END_S, until=self._ended)
        self.check()

    def check(self) -> None:
        """Raise what kept a burst from beginning, if anything did."""
        if self._trouble is not None:
            raise self._trouble

    @property
    def late_s(self) -> float:
        """By how much two bursts lay at most nearer or farther apart than they should."""
        pairs = zip(self._began_s[:-1], self._began_s[1:], strict=True)
        return max((abs(after - before - self._every_s) for before, after in pairs), default=0.0)

    def _beat(self) -> None:
        first_s = self._clock.now()
        number = 0
        try:
            while not self._over.is_set():
                self._generator.trigger_burst()
                self._began_s.append(self._clock.now())
                number += 1
                self._clock.sleep(first_s + number * self._every_s - self._clock.now(), until=self._over)
        except BenchctlError as trouble:
            self._trouble = trouble
        finally:
            self._ended.set()


# One exchange may be under way; it ends within a session's patience.
LONGEST_END_S = 30.0
