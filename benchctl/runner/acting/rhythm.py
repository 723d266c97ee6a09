"""Bursts that the run triggers itself, one after the other, because the generator cannot repeat them.

A burst may be late, because the link is slow or another question is under way. The next one then follows a whole period
after it: no two bursts are nearer to each other than was asked, so a record of one period never holds a part of the
next.
"""

from __future__ import annotations

from itertools import pairwise

from benchctl.clock import Clock
from benchctl.errors import BenchctlError
from benchctl.instruments.generator import Generator


class Rhythm:
    """A thread that triggers a burst at each period, and knows how evenly it did."""

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
        """Trigger no more bursts.

        Raises:
            BenchctlError: one could not be triggered.
        """
        self._over.set()
        self._clock.sleep(LONGEST_END_S, until=self._ended)
        self.check()

    def check(self) -> None:
        """Raise the error that kept a burst from being triggered, if there was one."""
        if self._trouble is not None:
            raise self._trouble

    @property
    def late_s(self) -> float:
        """The most by which two bursts were farther apart than they should be."""
        return max((after - before - self._every_s for before, after in pairwise(self._began_s)), default=0.0)

    def _beat(self) -> None:
        try:
            while not self._over.is_set():
                self._generator.trigger_burst()
                self._began_s.append(self._clock.now())
                self._clock.sleep(self._every_s, until=self._over)
        except BenchctlError as trouble:
            self._trouble = trouble
        finally:
            self._ended.set()


# One exchange may be under way; it ends within a session's patience.
LONGEST_END_S = 30.0
