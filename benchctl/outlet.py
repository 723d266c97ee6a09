"""Standard output and standard error that never fail: a failed output must not end a run.

A console may lack characters, its window may be closed, the program behind a pipe may have ended, a disk may be full,
or nothing may read what is written. In each case the text is written in other characters or not at all, the reason is
noted, and the program goes on.

Only the standard library: the guardian writes through this too.
"""

from __future__ import annotations

import io
import os
import select
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager, suppress
from typing import Any, Final, TextIO

from benchctl.readable import READABLE, encoding_for, register

# A pipe that reports room takes this much without waiting (POSIX.1-2017, limits.h: at least 512).
_PIECE_BYTES: Final = getattr(select, "PIPE_BUF", 512)
_LOOK_UP_S = 0.1
_CAN_WAIT: Final = os.name != "nt"  # Windows can wait for sockets only
_NAMES: Final = {"stdin": "standard input", "stdout": "standard output", "stderr": "standard error"}


class Outlet(io.RawIOBase):
    """The end of a stream, where bytes leave the program. Writing never raises.

    Attributes:
        name: of the stream, in words.
        lost: why something could not be shown; empty if everything was shown.
        dropped: how many pieces could not be shown.
        patience_s: how long a piece may wait until it is read; None waits for ever.
    """

    def __init__(self, raw: io.RawIOBase, name: str) -> None:
        super().__init__()
        self.name = name
        self.lost = ""
        self.dropped = 0
        self.patience_s: float | None = None
        self._raw = raw
        self._is_gone = self._is_held_up = False

    def write(self, data: Any, /) -> int:
        """Write all of `data`, or as much as possible; the rest is dropped."""
        whole = memoryview(data).cast("B")
        for begin in range(0, len(whole), _PIECE_BYTES):
            self._write_piece(whole[begin : begin + _PIECE_BYTES])
        return len(whole)

    def _write_piece(self, piece: memoryview) -> None:
        while piece and not self._is_gone and self._has_room():
            try:
                written = self._raw.write(piece)
            except (OSError, ValueError) as error:
                self.give_up(getattr(error, "strerror", None) or str(error))
            else:
                piece = piece[self._wait_for_room() if written is None else written :]
        self.dropped += bool(piece)

    def _wait_for_room(self) -> int:
        """A non-blocking file is full and took nothing of the piece: wait for room."""
        _takes_more(self._raw.fileno(), _LOOK_UP_S)
        return 0

    def _has_room(self) -> bool:
        """Whether a piece is taken in time; after a failure the next ones are not waited for, until one is taken."""
        if self.patience_s is None or not _CAN_WAIT:
            return True
        wait_s = 0.0 if self._is_held_up else self.patience_s
        self._is_held_up = not _takes_more(self._raw.fileno(), wait_s)
        if self._is_held_up:
            self._lose(f"nobody read what was written for {self.patience_s:g} s")
        return not self._is_held_up

    def give_up(self, reason: str) -> None:
        """Stop writing, for this reason."""
        self._is_gone = True
        self._lose(reason)

    def _lose(self, reason: str) -> None:
        self.lost = self.lost or reason  # the first one counts

    def writable(self) -> bool:
        """Always true."""
        return True

    def fileno(self) -> int:
        """The system's number for it; it gives the size of the terminal."""
        return self._raw.fileno()

    def isatty(self) -> bool:
        """Whether it is a terminal that can still be used."""
        return not self._is_gone and self._raw.isatty()


def _takes_more(descriptor: int, wait_s: float) -> bool:
    """Whether it takes more within this time; for a closed file the write itself gives the reason."""
    with suppress(OSError, ValueError):
        return bool(select.select([], [descriptor], [], wait_s)[1])
    return True


def outlet_of(stream: TextIO | None) -> Outlet | None:
    """The outlet behind a stream, if it has one."""
    raw = _raw_of(stream)
    return raw if isinstance(raw, Outlet) else None


def lost_outputs() -> Mapping[str, str]:
    """The name of each stream with lost text -> the reason."""
    outlets = filter(None, map(outlet_of, (sys.stdout, sys.stderr)))
    return {outlet.name: outlet.lost for outlet in outlets if outlet.lost}


def is_shown(write: Callable[[], None]) -> bool:
    """Whether everything that `write` writes to standard error was shown."""
    outlet = outlet_of(sys.stderr)
    before = 0 if outlet is None else outlet.dropped
    write()
    return outlet is None or outlet.dropped == before


def wait_for_outputs(patience_s: float | None) -> None:
    """From now on, wait this long until what is written is read; None waits for ever."""
    for outlet in filter(None, map(outlet_of, (sys.stdout, sys.stderr))):
        outlet.patience_s = patience_s


@contextmanager
def outputs_that_never_fail() -> Iterator[None]:
    """Put outlets at the ends of standard output and standard error while the block lasts."""
    register()
    closed = list(_open_what_is_closed())
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="backslashreplace")
    before = sys.stdout, sys.stderr
    sys.stdout, sys.stderr = _with_outlet(sys.stdout, _NAMES["stdout"]), _with_outlet(sys.stderr, _NAMES["stderr"])
    for outlet in filter(None, map(outlet_of, (sys.stdout, sys.stderr))):
        if outlet.name in closed:
            outlet.give_up("it was closed from the beginning")
    try:
        yield
    finally:
        for stream in (sys.stdout, sys.stderr):
            if outlet_of(stream) is not None:
                stream.flush()
        sys.stdout, sys.stderr = before


def _raw_of(stream: TextIO | None) -> object:
    """The raw stream behind a stream's buffer, or the stream that is used without a buffer."""
    buffer = getattr(stream, "buffer", None)
    return getattr(buffer, "raw", buffer)


def _with_outlet(stream: TextIO, name: str) -> TextIO:
    """The same stream with an outlet at its end; a stream without a file behind it is left as it is."""
    raw = _raw_of(stream)
    if not isinstance(raw, io.RawIOBase) or isinstance(raw, Outlet):
        return stream
    with suppress(OSError, ValueError):
        stream.flush()
    outlet = Outlet(raw, name)
    return io.TextIOWrapper(
        outlet if stream.buffer is raw else io.BufferedWriter(outlet),  # type: ignore[comparison-overlap]
        encoding=encoding_for(stream),
        errors=READABLE,
        line_buffering=getattr(stream, "line_buffering", True),
        write_through=getattr(stream, "write_through", False),
    )


def _open_what_is_closed() -> Iterator[str]:
    """A program may be started with its first three files closed. The next files opened would take their numbers, and a
    journal must not become standard error: so the null device takes them. Returns the names of the streams."""
    for number, (name, in_words) in enumerate(_NAMES.items()):
        if getattr(sys, name) is None:
            _occupy(number)
            opened = os.fdopen(number, "r" if name == "stdin" else "w", encoding="utf-8", closefd=False)
            setattr(sys, name, opened)
            yield in_words


def _occupy(number: int) -> None:
    with suppress(OSError):
        os.fstat(number)
        return
    opened = os.open(os.devnull, os.O_RDWR)  # takes the lowest free number, which is this one
    if opened != number:
        os.dup2(opened, number)
        os.close(opened)
