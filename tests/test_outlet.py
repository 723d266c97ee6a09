"""Standard output and standard error never fail, whatever is behind them."""

from __future__ import annotations

import errno
import io
import os
import sys
from collections.abc import Iterator

import pytest

from benchctl.outlet import Outlet, lost_outputs, outlet_of, outputs_that_never_fail

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="pipes cannot be waited for there")


class Broken(io.RawIOBase):
    """A device that refuses each write with the errors given, in turn; None stands for 'no room now'."""

    def __init__(self, *answers: int | None) -> None:
        super().__init__()
        self.answers = list(answers)
        self.written = b""

    def write(self, data: object, /) -> int | None:
        answer = self.answers.pop(0) if self.answers else 0
        if answer is None:
            return None
        if answer:
            raise OSError(answer, os.strerror(answer))
        self.written += bytes(data)  # type: ignore[call-overload]
        return len(bytes(data))  # type: ignore[call-overload]

    def fileno(self) -> int:
        return 1


@pytest.fixture
def pipe() -> Iterator[tuple[int, io.FileIO]]:
    read, write = os.pipe()
    with os.fdopen(read, "rb"), io.FileIO(write, "w") as file:
        yield read, file


@pytest.mark.parametrize("error", [errno.EPIPE, errno.ENOSPC, errno.EIO])
def test_a_failed_write_is_noted_once_and_nothing_more_is_tried(error: int) -> None:
    outlet = Outlet(Broken(error), "standard output")
    assert outlet.write(b"one\n") == 4
    assert outlet.write(b"two\n") == 4
    assert outlet.lost == os.strerror(error)
    assert outlet.dropped == 2
    assert not outlet.isatty()


def test_a_file_without_room_is_written_to_once_it_has_some() -> None:
    device = Broken(None, None)
    outlet = Outlet(device, "standard output")
    assert outlet.write(b"one\n") == 4
    assert device.written == b"one\n"
    assert outlet.lost == ""


def test_a_pipe_that_nobody_reads_holds_nobody_up_for_longer_than_the_patience(pipe: tuple[int, io.FileIO]) -> None:
    """A megabyte is more than any pipe holds (64 KiB on Linux), so without a bound this would never end."""
    read, file = pipe
    outlet = Outlet(file, "standard output")
    outlet.patience_s = 0.01
    outlet.write(bytes(1_000_000))
    assert outlet.lost == "nobody read what was written for 0.01 s"
    os.read(read, 1_000_000)
    outlet.write(b"goes on")
    assert os.read(read, 65536).endswith(b"goes on")


def test_streams_get_outlets_for_as_long_as_the_block_lasts(
    pipe: tuple[int, io.FileIO], monkeypatch: pytest.MonkeyPatch
) -> None:
    read, file = pipe
    with io.TextIOWrapper(io.BufferedWriter(file), encoding="ascii") as stream:
        monkeypatch.setattr(sys, "stdout", stream)
        with outputs_that_never_fail():
            assert outlet_of(sys.stdout) is not None
            print("4 \N{OHM SIGN}")
            assert lost_outputs() == {}
        assert sys.stdout is stream
    assert os.read(read, 100) == b"4 ohm\n"
