"""One mistake is planted, and what an exercise of the driver file on simulated instruments finds is held against it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from benchctl import library
from benchctl.errors import DocumentError
from benchctl.launch.exercise import Consent, Exercised, exercise
from benchmarks.exercise.benches import bench_for
from benchmarks.exercise.mistakes import Mistake

# What is named beside a line counts only if it is no shot in the dark.
MOST_NAMED = 6


@dataclass(frozen=True)
class Trial:
    """What came of one mistake.

    Attributes:
        mistake: what was planted.
        lines: the lines of the driver file that differ.
        named: the lines that the exercise names.
        told: what it says of them.
    """

    mistake: Mistake
    lines: frozenset[int]
    named: frozenset[int]
    told: tuple[str, ...]

    @property
    def is_found(self) -> bool:
        """Whether a line that differs is named, and not half the file with it."""
        return bool(self.lines & self.named) and len(self.named) <= MOST_NAMED

    @property
    def is_as_promised(self) -> bool:
        """Whether it was found; or, where it cannot be, nothing was blamed instead."""
        return not self.named if self.mistake.unseen else self.is_found


def trial(mistake: Mistake, folder: Path) -> Trial:
    """Plant the mistake in a copy of the driver file, and exercise it."""
    driver, lines = _planted(mistake)
    (folder / "driver.yaml").write_text(driver, encoding="utf-8")
    file = folder / "bench.yaml"
    file.write_text(bench_for(mistake.driver).replace(f"driver: {mistake.driver}\n", "driver: driver.yaml\n"), "utf-8")
    try:
        (exercised,) = exercise(file, mistake.role, lambda _: Consent(goes_on=True, energises=True), simulated=True)
    except DocumentError as error:  # the reader of the file finds it before anything is sent
        named = frozenset(problem.line for problem in error.problems)
        return Trial(mistake, lines, named, tuple(problem.message for problem in error.problems))
    return Trial(mistake, lines, frozenset(_named(exercised)), tuple(_told(exercised)))


def _planted(mistake: Mistake) -> tuple[str, frozenset[int]]:
    """The driver file with the mistake, and the lines that differ."""
    right = library.find("drivers", mistake.driver).read_text(encoding="utf-8")
    wrong = right
    for old, new in mistake.changes:
        if old not in wrong:
            raise ValueError(f"{mistake.name}: {old!r} is not in the file")
        wrong = wrong.replace(old, new)
    pairs = zip(right.splitlines(), wrong.splitlines(), strict=True)
    return wrong, frozenset(number for number, (one, other) in enumerate(pairs, start=1) if one != other)


def _named(exercised: Exercised) -> set[int]:
    """The lines of every word that fails, and of whatever else may be at fault instead."""
    lines = {finding.line for finding in exercised.failures}
    lines |= {line for finding in exercised.failures for _, line in finding.suspects}
    return {line for line in lines if line is not None}


def _told(exercised: Exercised) -> list[str]:
    return [
        f"{each.line}: {each.word}: {each.verdict.value}: {each.text}" + (f"; {each.offer}" if each.offer else "")
        for each in exercised.failures
    ]
