"""A byte pipe to one instrument, whatever it goes through."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

Interrupt = Callable[[], None]


class Link(Protocol):
    """A byte pipe to one instrument.

    Attributes:
        marks_ends: whether the link itself tells where a message ends; `receive` then gives whole messages, each with a
            line feed at its end.
    """

    marks_ends: bool

    def send(self, data: bytes) -> None:
        """Send all of `data`."""

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        """At least one byte; `deadline` is on time.monotonic(), `interrupt` may raise while waiting."""

    def drain(self) -> None:
        """Throw away what has arrived; raises ConnectionLost if only a new link helps."""

    def has_waiting(self) -> bool:
        """Whether unread bytes have arrived, as far as the link can tell.

        Raises:
            ConnectionLost: the instrument has closed the link.
        """

    def close(self) -> None:
        """Close for good."""
