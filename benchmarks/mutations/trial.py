"""Tries one change: the tests of the changed module are run on a copy of the checkout, and fail if they notice it."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from benchmarks.mutations.changes import Change
from benchmarks.mutations.runner import Runner
from tests.pages import ROOT

# What the tests read of a checkout. The changed file lies in a copy, so an interrupted campaign changes nothing here.
_COPIED = ("benchctl", "benchmarks", "drivers", "sequences", "sim", "tests", "tools", "docs")
_COPIED_FILES = ("pyproject.toml", "README.md", "SAFETY.md", "DEVELOPERS.md", "CHANGELOG.md")
# Tests that hang with a change have noticed it too: no output for this many times the longest pause without it.
_PATIENCE = 4.0
_LEAST_S = 15.0
_MOST_S = 120.0


class Fate(StrEnum):
    """The result of a change."""

    NOTICED = "noticed"
    HUNG = "noticed, by hanging"
    UNNOTICED = "not noticed"


@dataclass(frozen=True)
class Target:
    """A module whose changes are tried, and the tests that must notice them."""

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
        for name in _COPIED:  # with the compiled files, which saves seconds for each change
            shutil.copytree(ROOT / name, folder / name, ignore=shutil.ignore_patterns("runs"))
        for name in _COPIED_FILES:
            shutil.copy(ROOT / name, folder / name)
        self._runner = Runner(folder)

    def longest_pause_s(self, target: Target) -> float:
        """The longest time without output of its tests, without a change.

        Raises:
            RuntimeError: they fail or hang without a change, so a failure with a change would prove nothing.
        """
        fate, pause_s = self._fate_and_longest_pause_s(target, _MOST_S)
        if fate is not Fate.UNNOTICED:
            raise RuntimeError(f"the tests of {target.module} fail without any change:\n{self._runner.said()}")
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

    def close(self) -> None:
        """Stop trying changes."""
        self._runner.close()

    def _fate_and_longest_pause_s(self, target: Target, patience_s: float) -> tuple[Fate, float]:
        code, pause_s = self._runner.run(target.module, target.tests, patience_s)
        if code is None:
            return Fate.HUNG, pause_s
        return (Fate.NOTICED if code else Fate.UNNOTICED), pause_s
