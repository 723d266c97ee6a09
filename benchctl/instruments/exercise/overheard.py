"""Links that keep what passes over them, byte for byte."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from benchctl.instruments.exercise.findings import Said
from benchctl.instruments.links.opening import Opener, open_link
from benchctl.instruments.links.settings import LinkSettings

if TYPE_CHECKING:
    from benchctl.instruments.links.link import Interrupt, Link

# Of a long answer, such as a record, only the beginning is kept.
_LONGEST_KEPT = 400
_MOST_KEPT = 100


class Overheard:
    """What was said over all links to one instrument since it was last taken."""

    def __init__(self, now: Callable[[], float], opener: Opener = open_link) -> None:
        self._now = now
        self._opener = opener
        self._said: list[Said] = []
        self._sent_s = 0.0

    def open(self, address: str, settings: LinkSettings) -> Link:
        """Open a link that is overheard."""
        return _OverheardLink(self._opener(address, settings), self)

    def sent(self, data: bytes) -> None:
        """These bytes went to the instrument."""
        self._said = [*self._said[-_MOST_KEPT:], Said(data)]
        self._sent_s = self._now()

    def arrived(self, data: bytes) -> None:
        """These bytes came from it."""
        if self._said:
            last = self._said[-1]
            answer = (last.answer + data)[:_LONGEST_KEPT]
            self._said[-1] = replace(last, answer=answer, took_s=self._now() - self._sent_s)

    def take(self) -> tuple[Said, ...]:
        """What was said, and forget it."""
        said, self._said = tuple(self._said), []
        return said


class _OverheardLink:
    def __init__(self, link: Link, overheard: Overheard) -> None:
        self._link = link
        self._overheard = overheard
        self.marks_ends = link.marks_ends
        self.drain = link.drain
        self.has_waiting = link.has_waiting
        self.close = link.close

    def send(self, data: bytes) -> None:
        """Send all of `data`."""
        self._overheard.sent(data)
        self._link.send(data)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        """At least one byte."""
        data = self._link.receive(deadline, interrupt)
        self._overheard.arrived(data)
        return data
