"""A link that keeps all that goes over it."""

from __future__ import annotations

import threading
from dataclasses import replace
from typing import TYPE_CHECKING

from benchctl.errors import LinkError
from benchctl.instruments.links.opening import Opener
from benchctl.instruments.links.recordings.traffic import Exchange, Recording
from benchctl.instruments.links.settings import LinkSettings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from benchctl.instruments.links.link import Interrupt, Link

# The guard's threads, as the guard calls them.
_GUARDS_THREADS = frozenset(("guard", "lookout"))
GUARD, RUN = "guard", "run"


def who_talks() -> str:
    """Whether it is the guard that talks, or the run; they share the instruments, and neither waits for the other."""
    return GUARD if threading.current_thread().name in _GUARDS_THREADS else RUN


def recorded(recording: Recording, opener: Opener, role_at: Mapping[str, str]) -> Opener:
    """An opener whose links are recorded; `role_at` says whose instrument is at an address."""

    def open_recorded(address: str, settings: LinkSettings) -> Link:
        return RecordingLink(opener(address, settings), recording, role_at[address], settings.ends.sent)

    return open_recorded


class RecordingLink:
    """Wraps a link; what came after a message is kept with it once the next is sent."""

    def __init__(self, link: Link, recording: Recording, role: str, end: bytes) -> None:
        self._link = link
        self._recording = recording
        self._role = role
        self._end = end
        self._lock = threading.Lock()  # the safe state sends while another thread waits
        self._open: Exchange | None = None
        self._got = bytearray()
        self._last_s = 0.0
        self.marks_ends = recording.marks_ends[role] = link.marks_ends
        self.has_waiting = link.has_waiting
        self.drain = link.drain

    def send(self, data: bytes) -> None:
        """Send all of `data`, and begin another exchange."""
        with self._lock:
            self._finish()
            text = data.removesuffix(self._end).decode("ascii", "backslashreplace")
            self._open = self._recording.begin(self._role, who_talks(), text)
        self._link.send(data)

    def receive(self, deadline: float, interrupt: Interrupt) -> bytes:
        """At least one byte, which is kept."""
        try:
            data = self._link.receive(deadline, interrupt)
        except LinkError as error:
            with self._lock:
                if not self._got:
                    self._last_s = self._recording.now()
                    self._finish(type(error).__name__, error.message)
            raise
        with self._lock:
            self._got += data
            self._last_s = self._recording.now()
        return data

    def close(self) -> None:
        """Close for good."""
        with self._lock:
            self._finish()
        self._link.close()

    def _finish(self, error: str = "", message: str = "") -> None:
        begun, self._open = self._open, None
        if begun is not None:
            took_s = max(0.0, self._last_s - begun.time_s)
            self._recording.note(replace(begun, got=bytes(self._got), took_s=took_s, error=error, message=message))
        self._got.clear()
