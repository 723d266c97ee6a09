"""A run folder with a clock, and records to put into it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from benchctl.archive.folder import RunFolder
from benchctl.clock import VirtualClock
from benchctl.measure.signal.record import Capture, Trace


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock()


@pytest.fixture
def folder(tmp_path: Path, clock: VirtualClock) -> RunFolder:
    return RunFolder.create(tmp_path / "runs", "Burst and continuous", "HX 2150", clock)


@pytest.fixture
def tone() -> Capture:
    """20 ms of 1 kHz, 10 V peak at A and 9 V peak at B, in 12-bit codes of 10 mV, with a small offset."""
    phase = 2.0 * np.pi * 1e3 * np.arange(2000) * 1e-5
    return Capture(
        name="Idle, channel A & B",
        start_s=-1e-3,
        interval_s=1e-5,
        traces={
            "output A": Trace(np.round(1000.0 * np.sin(phase) + 1).astype(np.int16), 0.01, 0.0, "V", -2048, 2047),
            "output B": Trace(np.round(900.0 * np.sin(phase)).astype(np.int16), 0.01, 0.02, "V", -2048, 2047),
        },
        taken_s=12.5,
    )


@contextmanager
def files_limited_to(size: int) -> Iterator[None]:
    """For as long as this lasts no file may grow beyond `size` bytes: the system's own way to be out of room."""
    resource = pytest.importorskip("resource", reason="limits on file size are a POSIX matter")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@pytest.fixture
def out_of_room() -> object:
    return files_limited_to
