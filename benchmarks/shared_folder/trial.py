"""Benches and a reader, each a process, that share one folder; and what was wrong with that."""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from benchctl.archive.collection.indexed.index import collection_of
from benchctl.archive.verify import verify
from benchctl.errors import BenchctlError
from benchctl.spread.here import Here
from benchctl.spread.spread import Failure
from benchmarks.shared_folder.slow_drive import slow_drive

MakeRun = Callable[[Path, int], Path]
LOOK_S = 0.01


@dataclass(frozen=True)
class Part:
    """What one process does: a bench makes `runs` runs in the folder, a reader looks at it until all benches are done.

    `ended` is a folder of its own, where each bench leaves a file at its end.
    """

    number: int
    make: MakeRun
    root: Path
    ended: Path
    benches: int
    runs: int
    at_most_s: float

    @property
    def is_reader(self) -> bool:
        """Whether it only looks."""
        return self.number >= self.benches


@dataclass
class Shared:
    """The folders that the benches made, how often the reader looked, and what was not as promised."""

    made: list[Path] = field(default_factory=list)
    looks: int = 0
    violations: list[str] = field(default_factory=list)


def share(make: MakeRun, root: Path, ended: Path, *, benches: int, runs: int, at_most_s: float) -> Shared:
    """Let benches make runs in one folder while a reader looks at it; then look whether every run is whole."""
    shared = Shared()
    parts = [Part(number, make, root, ended, benches, runs, at_most_s) for number in range(benches + 1)]
    for part, done in Here(benches + 1).each(take_part, parts):
        if isinstance(done, Failure):
            shared.violations.append(f"process {part.number}: {done.details or done.why}")
        elif part.is_reader:
            shared.looks = len(done)
            shared.violations += [problem for problems in done for problem in problems]
        else:
            shared.made += [Path(path) for (path,) in done]
    shared.violations += _wrong(root, shared.made, benches * runs)
    return shared


def take_part(part: Part) -> list[Sequence[str]]:
    """What one process does: the folders that it made, or the problems of each look."""
    slow_drive(part.root, part.at_most_s, seed=part.number)
    if part.is_reader:
        return list(_look(part))
    try:
        return [[os.fspath(part.make(part.root, part.number * part.runs + number))] for number in range(part.runs)]
    finally:
        (part.ended / str(part.number)).touch()


def _look(part: Part) -> Iterator[Sequence[str]]:
    while not part.root.is_dir():
        time.sleep(LOOK_S)
    while True:
        is_last = len(list(part.ended.iterdir())) == part.benches
        yield list(_problems(part.root, part.ended.with_name("index.sqlite")))
        if is_last:
            return


def _problems(root: Path, index: Path) -> Iterator[str]:
    """A run that still goes on has no problem, and none is taken for one that was killed; neither in an index that is
    brought up to date, nor in one that is made anew."""
    before = collection_of(root, index=index)
    index.unlink()
    for run in (*before.runs, *collection_of(root, index=index).runs):
        yield from (f"the reader says of {run.name}: {problem}" for problem in run.problems)
        if run.ending == "killed":
            yield f"the reader says of {run.name} that it was killed"


def _wrong(root: Path, made: Sequence[Path], wanted: int) -> Iterator[str]:
    if len(set(made)) != wanted or {path for path in root.iterdir() if path.is_dir()} != set(made):
        yield f"{wanted} runs were wanted, {len(set(made))} folders were made"
    for path in made:
        try:
            found = verify(path)
        except BenchctlError as error:
            yield f"{path.name}: {error}"
            continue
        if not found.agrees or found.torn or found.unused_captures or found.is_running:
            yield f"{path.name}: {found}"
