"""Tries one change: the tests of the changed module are run on a copy of the checkout, and fail if they notice it."""

from __future__ import annotations

import math
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
# Tests that hang on a change have noticed it too: no test ends for so many times longer than any took without it.
_PATIENCE = 4.0
_LEAST_S = 15.0
_LOOK_S = 0.05


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

    def longest_pause_s(self, target: Target) -> float:
        """How long its tests take at the most, without a change, until the next word is heard of them.

        Raises:
            RuntimeError: they fail as it is, so nothing would follow from their failing with a change.
        """
        fate, pause_s = self._fate_and_longest_pause_s(target, math.inf)
        if fate is not Fate.UNNOTICED:
            said = self._said.read_text(encoding="utf-8")
            raise RuntimeError(f"the tests of {target.module} fail without any change:\n{said}")
        return pause_s

    def try_out(self, target: Target, change: Change, longest_pause_s: float) -> Fate:
        """Whether the tests notice this change."""
        path = self._folder / target.path
        for compiled in path.parent.glob(f"__pycache__/{path.stem}.*"):
            compiled.unlink()
        as_it_is = path.read_bytes()
        path.write_text(change.text, encoding="utf-8")
        try:
            return self._fate_and_longest_pause_s(target, max(_LEAST_S, _PATIENCE * longest_pause_s))[0]
        finally:
            path.write_bytes(as_it_is)

    def _fate_and_longest_pause_s(self, target: Target, patience_s: float) -> tuple[Fate, float]:
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
            return self._watch(process, patience_s)
        finally:
            _end(process)

    def _watch(self, process: subprocess.Popen[bytes], patience_s: float) -> tuple[Fate, float]:
        """Until the tests are through, or nothing more is heard of them."""
        heard, since_s, longest_s = 0, time.monotonic(), 0.0
        while process.poll() is None:
            time.sleep(_LOOK_S)
            now_s = time.monotonic()
            longest_s = max(longest_s, now_s - since_s)
            if heard != (heard := self._said.stat().st_size):
                since_s = now_s
            elif now_s - since_s > patience_s:
                return Fate.HUNG, longest_s
        return (Fate.NOTICED if process.returncode else Fate.UNNOTICED), longest_s


def _end(process: subprocess.Popen[bytes]) -> None:
    if sys.platform == "win32":
        process.kill()
    else:
        try:
            os.killpg(process.pid, signal.SIGKILL)
        except ProcessLookupError:
            return
    process.wait()
