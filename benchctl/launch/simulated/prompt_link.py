"""A link to an instrument in virtual time, on which a missing answer is known at once.

While a client waits for an answer, virtual time does not move. So if no answer has come after the simulator has acted
on everything that was sent, none will come: the timeout is over at once, also on a slow computer.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from benchctl.errors import NoAnswer

if TYPE_CHECKING:
    from benchctl.instruments.links.link import Interrupt, Link

AT_FIRST_S = 0.02
"""Nearly every answer comes within this; only then is the simulator asked whether it is at rest."""


class PromptLink:
    """Wraps a link.

    Args:
        link: what is wrapped.
        settle: returns once the simulator has acted on all that was sent.
        pauses: whether the instrument needs a pause between messages.
    """

    def __init__(self, link: Link, settle: Callable[[], None], *, pauses: bool = False) -> None:
        self._link = link
        self._settle = settle
        self._pauses = pauses
        self._has_answered = False
        self.marks_ends = link.marks_ends
        self.has_waiting = link.has_waiting
        self.close = link.close

    def send(self, data: bytes) -> None:
        """Send all of `data`. If the instrument needs a pause, wait until it has acted on what came before."""
        if self._pauses:
            self._settle()
        self._has_answered = False
        self._link.send(data)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        """At least one byte, or `NoAnswer` as soon as it is certain."""
        if not (self._pauses and self._has_answered):
            try:
                data = self._link.receive(min(deadline, time.monotonic() + AT_FIRST_S), interrupt)
            except NoAnswer:
                pass
            else:
                self._has_answered = True
                return data
        self._settle()
        return self._link.receive(time.monotonic(), interrupt)

    def drain(self) -> None:
        """Throw away what has arrived. Nothing more is on its way when the simulator is at rest."""
        self._settle()
        while self._link.has_waiting():
            self._link.receive(time.monotonic(), _go_on)


def _go_on() -> None:
    """Does nothing: what takes no time is not interrupted."""
