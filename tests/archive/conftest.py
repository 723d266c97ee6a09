"""A run folder with a clock, and records to put into it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from benchctl.archive.folder import RunFolder
from benchctl.clock import VirtualClock
from benchctl.measure.signal.record import Capture
from tests.archive.made_runs import two_tones


@pytest.fixture
def clock() -> VirtualClock:
    return VirtualClock()


@pytest.fixture
def folder(tmp_path: Path, clock: VirtualClock) -> RunFolder:
    return RunFolder.create(tmp_path / "runs", "Burst and continuous", "HX 2150", clock)


@pytest.fixture
def tone() -> Capture:
    return two_tones()


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
