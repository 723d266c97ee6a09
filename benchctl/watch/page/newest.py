"""The newest news for everybody who waits: nothing is queued, so nobody who is slow holds up anything."""

from __future__ import annotations

import threading


class Newest:
    """One text, and its number. Whoever has seen an older one gets the newest; what came between is left out."""

    def __init__(self) -> None:
        self._changed = threading.Condition()
        self._number = 0
        self._text = ""
        self._is_closed = False

    def put(self, text: str) -> None:
        """This is the newest from now on."""
        with self._changed:
            self._number, self._text = self._number + 1, text
            self._changed.notify_all()

    def after(self, number: int) -> tuple[int, str] | None:
        """The newest, once it is newer than this number; None if there will be no other."""
        with self._changed:
            self._changed.wait_for(lambda: self._number > number or self._is_closed)
            return (self._number, self._text) if self._number > number else None

    def close(self) -> None:
        """What there is now is the last."""
        with self._changed:
            self._is_closed = True
            self._changed.notify_all()
