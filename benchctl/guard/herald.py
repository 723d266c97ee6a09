"""Tells a person what happens to the bench, without waiting for their terminal.

A terminal can stop for any length of time: Ctrl-S, or text that is being selected in a window. The safe state must not
wait for it. In a dry run nothing else happens meanwhile, and messages are shown at once.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from contextlib import suppress
from queue import SimpleQueue
from typing import Protocol

# At the end of a run, what is not shown by then is left to the final summary.
LAST_WORDS_S = 0.5


class Listener(Protocol):
    """Who is told: a view."""

    def stopping(self, text: str) -> None:
        """The run ends before its last step."""

    def alarm(self, text: str) -> None:
        """Something may be on, and a person must look."""

    def relief(self, text: str) -> None:
        """What the alarm was about is off now."""


class Herald:
    """Passes messages on to a listener, in order. `waits` is for a dry run."""

    def __init__(self, listener: Listener | None, *, waits: bool) -> None:
        self._listener = listener
        self._waits = waits
        self._words: SimpleQueue[Callable[[], None]] = SimpleQueue()
        if listener is not None and not waits:
            threading.Thread(target=self._pass_on, name="herald", daemon=True).start()

    def tell(self, choose: Callable[[Listener], Callable[[str], None]], text: str) -> None:
        """Give `text` to the method of the listener that `choose` picks."""
        if self._listener is None:
            return
        method = choose(self._listener)
        if self._waits:
            method(text)
        else:
            self._words.put(lambda: method(text))

    def finish(self) -> None:
        """Wait until everything is shown, but not longer than a working terminal needs."""
        if self._listener is None or self._waits:
            return
        told = threading.Event()
        self._words.put(told.set)
        told.wait(LAST_WORDS_S)

    def _pass_on(self) -> None:
        while True:
            with suppress(Exception):  # whatever becomes of a terminal, the next words are tried
                self._words.get()()
