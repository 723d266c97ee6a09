"""Dry runs of shipped documents that many tests look at. Each is made once in a session, by whichever process of the
tests asks for it first; the others wait for it. Nobody changes such a folder: a test that has to takes a copy."""

from __future__ import annotations

import fcntl
import pickle
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from benchmarks.sequences.trials import Trial, trial

_T = TypeVar("_T")


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
        ended = made_once(place / "trial", Trial, lambda: trial(sequence, amplifier, place / "runs"))
        (folder,) = (path for path in (place / "runs").iterdir() if path.is_dir())
        return SharedRun(ended, folder)


def made_once(kept: Path, kind: type[_T], make: Callable[[], _T]) -> _T:
    """What `make` gives, of a kind: made by the first process that asks, and read from the file `kept` by the others,
    which wait for it. No two kept files share a folder."""
    kept.parent.mkdir(parents=True, exist_ok=True)
    with _alone_in(kept.parent):
        if not kept.exists():
            kept.write_bytes(pickle.dumps(make()))
    made = pickle.loads(kept.read_bytes())
    assert isinstance(made, kind)
    return made


@contextmanager
def _alone_in(place: Path) -> Iterator[None]:
    """Until the file is closed, or its process ends for any reason, others wait."""
    with (place / "lock").open("wb") as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield
