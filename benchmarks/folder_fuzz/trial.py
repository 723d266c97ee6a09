"""One change, and how each reader of the folder reacts."""

from __future__ import annotations

import shutil
import signal
import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from types import FrameType

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import entries_of
from benchctl.archive.journal.journal import read_journal
from benchctl.archive.verify import verify
from benchctl.errors import BenchctlError, UsageError
from benchctl.launch.resume import kept_run
from benchctl.measure.budget.figure import Figure
from benchctl.report.page import write_report
from benchctl.report.reading.run_record import read_run_record
from benchmarks.folder_fuzz.mutations import Mutate, forget, mutate

HANGS_AFTER_S = 60
"""A reader takes a second; one that takes this long hangs."""


@dataclass
class Trial:
    """What was changed, which reader noticed, and what is not as promised."""

    seed: int
    folder: str
    change: str = ""
    noticed_by: list[str] = field(default_factory=list)
    violations: list[str] = field(default_factory=list)
    is_forgery: bool = False

    @property
    def outcome(self) -> str:
        """In a word or two."""
        if self.violations:
            return "not as promised"
        if self.noticed_by:
            return "noticed"
        return "forged with its hashes, not noticed" if self.is_forgery else "harmless"


def trial(seed: int, folder: Path, scratch: Path, change: Mutate = mutate) -> Trial:
    """Change a copy of the folder as the seed says, and read it with every reader."""
    done = Trial(seed, folder.parent.name if folder.parent.name != scratch.name else folder.name)
    copy = scratch / "copy" / folder.name
    shutil.copytree(folder, copy)
    try:
        done.change, done.is_forgery = change(copy, Random(seed))
        for name, read in _READERS.items():
            _read(done, name, lambda read=read: read(copy))  # type: ignore[misc]
        if not done.noticed_by and not done.violations and not done.is_forgery:
            done.violations += _harm(folder, copy)
    finally:
        forget(copy)
    return done


def _verified(folder: Path) -> bool:
    return not verify(folder).agrees


def _reported(folder: Path) -> bool:
    run_record = read_run_record(folder)
    write_report(run_record)
    torn = [text for text in run_record.missing if "torn, as by a crash" in text]  # as the killed run left it
    return bool(run_record.findings.changed) or len(run_record.missing) > len(torn)


def _resumed(folder: Path) -> bool:
    """Everything that `resume` reads before it uses an instrument."""
    try:
        kept_run(RunFolder.open(folder), unattended=True)
    except UsageError as error:
        return "nothing to go on with" not in error.message
    return False


_READERS: dict[str, Callable[[Path], bool]] = {"verify": _verified, "report": _reported, "resume": _resumed}


class _Hung(BaseException):
    """A reader hangs."""


def _read(done: Trial, name: str, read: Callable[[], bool]) -> None:
    try:
        with _watched(), warnings.catch_warnings():
            warnings.simplefilter("ignore")
            if read():
                done.noticed_by.append(name)
    except BenchctlError:
        done.noticed_by.append(name)
    except _Hung:
        done.violations.append(f"{name} hangs: {traceback.format_exc()}")
    except Exception:  # noqa: BLE001 - just that is looked for
        done.violations.append(f"{name} ends in a traceback: {traceback.format_exc()}")


@contextmanager
def _watched() -> Iterator[None]:
    def end(_number: int, _frame: FrameType | None) -> None:
        raise _Hung

    before = signal.signal(signal.SIGALRM, end)
    signal.setitimer(signal.ITIMER_REAL, HANGS_AFTER_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)


def _harm(before: Path, after: Path) -> Iterator[str]:
    """Changed figures or inputs that no reader reported."""
    if _figures(before) != _figures(after):
        yield "the figures are not the same, and nobody noticed"
    for file in sorted(path for path in (before / "inputs").rglob("*") if path.is_file()):
        if (after / file.relative_to(before)).read_bytes() != file.read_bytes():
            yield f"{file.relative_to(before)} is not the same, and nobody noticed"


def _figures(folder: Path) -> list[tuple[str, Sequence[Figure]]]:
    entries = entries_of(read_journal(folder / "journal.jsonl").events)
    return [(entry.step, entry.figures) for entry in entries]
