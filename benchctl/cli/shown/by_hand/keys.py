"""Single keys from a terminal, without Enter.

Only what differs between systems is here: POSIX terminals in cbreak mode, in which Ctrl-C still stops the run, and the
console of Windows.
"""

from __future__ import annotations

import os
import select
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from benchctl.errors import OperatorStop, UsageError

# How a terminal sends the keys that have no character (ECMA-48; xterm), and how Windows does.
_NAMED = {
    "\x1b[A": "up",
    "\x1b[B": "down",
    "\x1b[C": "right",
    "\x1b[D": "left",
    "\x1bOA": "up",
    "\x1bOB": "down",
    "\x1bOC": "right",
    "\x1bOD": "left",
    "\x1b[5~": "page up",
    "\x1b[6~": "page down",
    "\xe0H": "up",
    "\xe0P": "down",
    "\xe0M": "right",
    "\xe0K": "left",
    "\xe0I": "page up",
    "\xe0Q": "page down",
    "\r": "enter",
    "\n": "enter",
    "\x7f": "backspace",
    "\x08": "backspace",
}
_LONGEST = max(map(len, _NAMED))


class Keys:
    """The keys that were pressed and not taken yet."""

    def __init__(self) -> None:
        self._waiting = ""

    def pressed(self) -> list[str]:
        """Each key: its character, or its name. Does not wait.

        Raises:
            OperatorStop: the terminal was closed.
        """
        self._waiting += _arrived()
        keys = []
        while self._waiting:
            key, self._waiting = _first(self._waiting)
            keys.append(key)
        return keys


def _first(text: str) -> tuple[str, str]:
    """The first key of what has arrived, and the rest."""
    for length in range(min(_LONGEST, len(text)), 0, -1):
        if (name := _NAMED.get(text[:length])) is not None:
            return name, text[length:]
    if text[0] == "\x1b" and len(text) > 1 and text[1] in "[O":  # a key without a use here
        end = next((index for index, each in enumerate(text[2:], 2) if each.isalpha() or each == "~"), len(text) - 1)
        return "another key", text[end + 1 :]
    return text[0], text[1:]


@contextmanager
def keys_of_terminal() -> Iterator[Keys]:
    """Keys one by one for as long as the block lasts; the terminal is then as it was.

    Raises:
        UsageError: standard input is no terminal.
    """
    if not sys.stdin.isatty():
        raise UsageError("keys are needed, and standard input is no terminal; start 'benchctl manual' in a terminal")
    with _single_keys():
        yield Keys()


if sys.platform == "win32":
    import msvcrt

    def _arrived() -> str:
        text = ""
        while msvcrt.kbhit():
            text += msvcrt.getwch()
        return text

    @contextmanager
    def _single_keys() -> Iterator[None]:
        yield

else:
    import termios
    import tty

    def _arrived() -> str:
        descriptor = sys.stdin.fileno()
        text = b""
        try:
            while select.select([descriptor], [], [], 0.0)[0]:
                piece = os.read(descriptor, 1024)
                if not piece:
                    raise OperatorStop("stopped, because the terminal was closed")
                text += piece
        except OSError:  # the terminal's other end is gone
            raise OperatorStop("stopped, because the terminal was closed") from None
        return text.decode("utf-8", errors="replace")

    @contextmanager
    def _single_keys() -> Iterator[None]:
        descriptor = sys.stdin.fileno()
        before = termios.tcgetattr(descriptor)
        tty.setcbreak(descriptor)
        try:
            yield
        finally:
            with suppress(termios.error):  # the terminal is gone
                termios.tcsetattr(descriptor, termios.TCSADRAIN, before)
