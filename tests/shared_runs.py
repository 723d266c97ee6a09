"""Dry runs of shipped documents that many tests look at. Each is made once in a session, by whichever process of the
tests asks for it first; the others wait for it. Nobody changes such a folder: a test that has to takes a copy."""

from __future__ import annotations

import fcntl
import pickle
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from benchmarks.sequences.trials import Trial, trial


@dataclass(frozen=True)
class SharedRun:
    """A run that is over: how it went, and the folder that it left."""

    trial: Trial
    folder: Path


class SharedRuns:
    """The runs of this session."""

    def __init__(self, root: Path) -> None:
        self._root = root

    def of(self, sequence: str, amplifier: str) -> SharedRun:
        """A shipped sequence on a shipped amplifier, on the bench that suits it, with hours cut to minutes."""
        place = self._root / f"{sequence}-{amplifier}"
        place.mkdir(parents=True, exist_ok=True)
        with alone_in(place):
            ended = _kept_in(place) or _made_in(place, sequence, amplifier)
        (folder,) = (path for path in (place / "runs").iterdir() if path.is_dir())
        return SharedRun(ended, folder)


def _kept_in(place: Path) -> Trial | None:
    kept = place / "trial"
    if not kept.exists():
        return None
    ended = pickle.loads(kept.read_bytes())
    assert isinstance(ended, Trial)
    return ended


def _made_in(place: Path, sequence: str, amplifier: str) -> Trial:
    ended = trial(sequence, amplifier, place / "runs")
    (place / "trial").write_bytes(pickle.dumps(ended))
    return ended


@contextmanager
def alone_in(place: Path) -> Iterator[None]:
    """Until the file is closed, or its process ends for any reason, others wait."""
    with (place / "lock").open("wb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield
