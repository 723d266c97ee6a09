"""What went over the links of a bench: kept while it goes, as one compressed file, and read again.

The file is JSON, one line an exchange, behind one line with the documents of the run, all of it gzip (RFC 1952). It is
bounded: once it is full, nothing more is kept, and its last line says so.
"""

from __future__ import annotations

import base64
import itertools
import json
import threading
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from types import TracebackType
from typing import Any, BinaryIO

from benchctl.errors import ArchiveError, UsageError

FORMAT = "recording 1"
# Compressed: some hours of a bench whose oscilloscope sends a record every second.
LARGEST_BYTES = 256 * 1024 * 1024
# What a killed run may lose: this many exchanges.
_FLUSHED_EVERY = 50
_GZIP = 31  # zlib's number for gzip with the largest window
_PIECE = 1 << 16
# A file that unpacks to more than this is no recording but a trap.
_LONGEST_UNPACKED = 1 << 32


@dataclass(frozen=True)
class Exchange:
    """One message to an instrument, and what came of it.

    Attributes:
        time_s: when it was sent, on the run's clock.
        role: whose instrument.
        who: `guard` or `run`, which share the instruments.
        sent: the message without its end.
        got: all that came until the next message, with its ends.
        took_s: how long after that the last of it came, or the error.
        error: the kind of error in which waiting for the answer ended; '' if in none.
        message: what that error said.
        number: exchanges are kept when they end; this is the order in which they began.
    """

    time_s: float
    role: str
    who: str
    sent: str
    got: bytes = b""
    took_s: float = 0.0
    error: str = ""
    message: str = ""
    number: int = 0

    def to_line(self) -> str:
        """One line of JSON."""
        data: dict[str, Any] = {
            "n": self.number,
            "t": round(self.time_s, 6),
            "took": round(self.took_s, 6),
            "role": self.role,
            "who": self.who,
            "sent": self.sent,
        }
        if self.got.isascii():
            data["got"] = self.got.decode("ascii")
        else:
            data["data"] = base64.b64encode(self.got).decode("ascii")
        if self.error:
            data["error"] = [self.error, self.message]
        return json.dumps(data)

    @classmethod
    def from_data(cls, data: Mapping[str, Any]) -> Exchange:
        """What `to_line` wrote, after JSON."""
        got = base64.b64decode(data["data"]) if "data" in data else str(data["got"]).encode("ascii")
        error, message = data.get("error", ("", ""))
        sent, took_s = data["sent"], float(data["took"])
        return cls(float(data["t"]), data["role"], data["who"], sent, got, took_s, error, message, int(data["n"]))


class Recording:
    """Keeps exchanges: at first in memory, then in a file. Safe for several threads.

    Args:
        now: the run's clock.
        largest_bytes: how long the file may become.

    Attributes:
        marks_ends: by role, whether its link marks the ends of messages itself.
        ended_early: why nothing more is kept; '' while everything is. A run is never held up by its recording.
    """

    def __init__(self, now: Callable[[], float], largest_bytes: int = LARGEST_BYTES) -> None:
        self.now = now
        self.marks_ends: dict[str, bool] = {}
        self.ended_early = ""
        self._largest_bytes = largest_bytes
        self._lock = threading.Lock()
        self._early: list[Exchange] = []
        self._file: BinaryIO | None = None
        self._packer = zlib.compressobj(wbits=_GZIP)
        self._written = self._unflushed = 0
        self._numbers = itertools.count(1)

    def keep_in(self, path: Path, about: Mapping[str, Any]) -> None:
        """From now on keep everything in a new file, which begins with what it is about.

        Raises:
            ArchiveError: it cannot be written.
        """
        with self._lock:
            try:
                self._file = path.open("xb")
            except OSError as error:
                raise ArchiveError(f"cannot write the recording {path}: {error.strerror}") from error
            self._write(json.dumps({"benchctl": FORMAT, **about}))
            for exchange in self._early:
                self._write(exchange.to_line())
            self._early.clear()

    def begin(self, role: str, who: str, sent: str) -> Exchange:
        """An exchange that begins now."""
        return Exchange(self.now(), role, who, sent, number=next(self._numbers))

    def note(self, exchange: Exchange) -> None:
        """Keep one exchange."""
        with self._lock:
            if self._file is None:
                self._early.append(exchange)
            elif not self.ended_early:
                self._write(exchange.to_line())

    def close(self) -> None:
        """Write what is left."""
        with self._lock:
            file, self._file = self._file, None
            if file is not None:
                with suppress(OSError), file:  # what is missing at the end, the reader does without
                    file.write(self._packer.flush())

    def __enter__(self) -> Recording:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def _write(self, line: str) -> None:
        assert self._file is not None
        packed = self._packer.compress(line.encode() + b"\n")
        self._unflushed += 1
        if self._unflushed >= _FLUSHED_EVERY:
            packed += self._packer.flush(zlib.Z_SYNC_FLUSH)
            self._unflushed = 0
        self._written += len(packed)
        try:
            self._file.write(packed)
            if not self._unflushed:
                self._file.flush()
            if self._written >= self._largest_bytes:
                self._file.write(self._packer.compress(b'{"full": true}\n'))
                self.ended_early = f"it has reached {self._largest_bytes / 2**20:.3g} MB"
        except OSError as error:
            self.ended_early = f"it cannot be written: {error.strerror}"


@dataclass(frozen=True)
class Recorded:
    """A recording that was read.

    Attributes:
        about: what its first line says: the documents of the run, and how it was run.
        exchanges: in the order in which they began.
        is_whole: whether the file has its end, and was not full before.
    """

    about: Mapping[str, Any]
    exchanges: tuple[Exchange, ...] = field(default=())
    is_whole: bool = True


def read_recording(path: Path) -> Recorded:
    """Read a recording; of one that was cut off, as far as it goes.

    Raises:
        UsageError: it is none.
    """
    lines = _Lines(path)
    try:
        entries = [json.loads(line) for line in lines]
        about, *rest = entries
        if about.get("benchctl") != FORMAT:
            raise ValueError
        is_full = bool(rest and rest[-1].get("full"))
        exchanges = tuple(
            sorted((Exchange.from_data(each) for each in rest if "full" not in each), key=lambda each: each.number)
        )
    except OSError as error:
        raise UsageError(f"cannot read {path}: {error.strerror}") from error
    except (ValueError, KeyError, TypeError, AttributeError, zlib.error) as error:
        raise UsageError(
            f"{path} is no recording of this version",
            advice="Name the file traffic.jsonl.gz of a run folder that 'benchctl run --record' made, or that folder.",
        ) from error
    return Recorded(about, exchanges, is_whole=lines.is_whole and not is_full)


class _Lines:
    """The lines of a gzip file, as far as they are whole."""

    longest_unpacked = _LONGEST_UNPACKED

    def __init__(self, path: Path) -> None:
        self._path = path
        self.is_whole = False

    def __iter__(self) -> Iterator[bytes]:
        unpacker = zlib.decompressobj(wbits=_GZIP)
        rest, unpacked = b"", 0
        with self._path.open("rb") as file:
            while piece := file.read(_PIECE):
                data = unpacker.decompress(piece)
                unpacked += len(data)
                if unpacked > self.longest_unpacked:
                    raise ValueError("no recording is that long")
                *whole, rest = (rest + data).split(b"\n")
                yield from whole
        self.is_whole = unpacker.eof
