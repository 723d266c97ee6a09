"""Tries one change: the tests of the changed module are run on a copy of the checkout, and fail if they notice it."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from benchmarks.mutations.changes import Change
from tests.pages import ROOT

# What the tests read of a checkout. The changed file lies in a copy, so a campaign that is broken off leaves no trace.
_COPIED = ("benchctl", "benchmarks", "drivers", "sequences", "sim", "tests", "tools", "docs")
_COPIED_FILES = ("pyproject.toml", "README.md", "SAFETY.md", "DEVELOPERS.md", "CHANGELOG.md")
# Tests that hang on a change have noticed it too. They get this much more time than they took without it.
_PATIENCE = 4.0
_LEAST_S = 20.0


class Fate(StrEnum):
    """What became of a change."""

    NOTICED = "noticed"
    HUNG = "noticed, by hanging"
    UNNOTICED = "not noticed"


@dataclass(frozen=True)
class Target:
    """A module whose changes are tried, and the tests that are to notice them."""

    module: str
    tests: tuple[str, ...]

    @property
    def path(self) -> Path:
        """From the top of the checkout."""
        return Path(*self.module.split(".")).with_suffix(".py")


class Copy:
    """A copy of the checkout in which one module at a time is changed."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._said = folder / "said.txt"
        for name in _COPIED:  # with what is compiled already, which saves seconds a change
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("runs"))
        for name in _COPIED_FILES:
            shutil.copy(ROOT / name, folder / name)

    def text_of(self, target: Target) -> str:
        """The module as it is."""
        return (ROOT / target.path).read_text(encoding="utf-8")

    def seconds_unchanged(self, target: Target) -> float:
        """How long its tests take without a change.

        Raises:
            RuntimeError: they fail as it is, so nothing would follow from their failing with a change.
        """
        began_s = time.monotonic()
        if self._tests_notice(target, None) is not Fate.UNNOTICED:
            said = self._said.read_text(encoding="utf-8")
            raise RuntimeError(f"the tests of {target.module} fail without any change:\n{said}")
        return time.monotonic() - began_s

    def try_out(self, target: Target, change: Change, seconds_unchanged: float) -> Fate:
        """Whether the tests notice this change."""
        path = self._folder / target.path
        for compiled in path.parent.glob(f"__pycache__/{path.stem}.*"):
            compiled.unlink()
        path.write_text(change.text, encoding="utf-8")
        try:
            return self._tests_notice(target, max(_LEAST_S, _PATIENCE * seconds_unchanged))
        finally:
            path.write_text(self.text_of(target), encoding="utf-8")

    def _tests_notice(self, target: Target, patience_s: float | None) -> Fate:
        # No more bytecode files: two versions of a module within a second would be taken for one.
        environment = {**os.environ, "PYTHONPATH": str(self._folder), "PYTHONDONTWRITEBYTECODE": "1"}
        command = [sys.executable, "-m", "pytest", "-x", "-q", "-p", "no:cacheprovider", *target.tests]
        with self._said.open("wb") as said:
            process = subprocess.Popen(
                command,
                cwd=self._folder,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=said,
                stderr=said,
                start_new_session=True,  # so that what the tests have started ends with them
            )
        try:
            return Fate.UNNOTICED if process.wait(patience_s) == 0 else Fate.NOTICED
        except subprocess.TimeoutExpired:
            return Fate.HUNG
        finally:
            _end(process)


def _end(process: subprocess.Popen[bytes]) -> None:
    if sys.platform == "win32":
        process.kill()
    else:
        try:
            os.killpg(process.pid, signal.SIGKILL)
        except ProcessLookupError:
            return
    process.wait()
