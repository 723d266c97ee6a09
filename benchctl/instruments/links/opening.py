"""How a link is opened in real time: when the instrument takes the next one, and with the quiet that it needs.

pyvisa takes half a second to load, so it is loaded only when a link is opened.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import TYPE_CHECKING

from benchctl.instruments.links.settings import USUAL, LinkSettings
from benchctl.instruments.links.translated import translated_link

if TYPE_CHECKING:
    from benchctl.instruments.links.link import Interrupt, Link

Opener = Callable[[str, LinkSettings], "Link"]

# When the last link to each address was closed by this process, on time.monotonic().
_closed_s: dict[str, float] = {}


def open_link(address: str, settings: LinkSettings = USUAL) -> Link:
    """Open the link that a VISA address names, as soon as its instrument takes one.

    Raises:
        NotConnected: nothing is there, or the address is not valid.
    """
    return open_politely(address, settings, _open_any)


def open_politely(address: str, settings: LinkSettings, opener: Opener) -> Link:
    """What `opener` opens, not before the instrument is free of the last link, and with pauses between messages."""
    closed_s = _closed_s.get(address)
    if settings.reopen_after_s and closed_s is not None:
        time.sleep(max(0.0, closed_s + settings.reopen_after_s - time.monotonic()))
    link = opener(address, settings)
    if settings.translator:
        link = translated_link(link, settings.translator)
    if not (settings.pause_s or settings.reopen_after_s):
        return link
    return PoliteLink(link, address, settings.pause_s)


class PoliteLink:
    """A link that leaves the instrument some quiet before each message."""

    def __init__(self, link: Link, address: str, pause_s: float) -> None:
        self._link = link
        self._address = address
        self._pause_s = pause_s
        self._quiet_since_s = time.monotonic()
        self.marks_ends = link.marks_ends
        self.has_waiting = link.has_waiting
        self.drain = link.drain

    def send(self, data: bytes) -> None:
        """Send all of `data`, once it has been quiet for a pause."""
        time.sleep(max(0.0, self._quiet_since_s + self._pause_s - time.monotonic()))
        try:
            self._link.send(data)
        finally:
            self._quiet_since_s = time.monotonic()

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        """At least one byte."""
        data = self._link.receive(deadline, interrupt)
        self._quiet_since_s = time.monotonic()
        return data

    def close(self) -> None:
        """Close for good; the next link must wait."""
        self._link.close()
        _closed_s[self._address] = time.monotonic()


def _open_any(address: str, settings: LinkSettings) -> Link:
    from benchctl.instruments.links.transports import every_link  # noqa: PLC0415 - see above

    return every_link.open_link(address, settings)
