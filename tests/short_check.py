"""The shipped quick check with bursts of one cycle, and with a second of what takes two: less of the same, for tests
that ask whether a bench, a driver or an amplifier can do with it."""

from __future__ import annotations

from pathlib import Path

from tests.runner.rig import shipped

SHORTER = {
    "measure_idle: {for: 2 s": "measure_idle: {for: 1 s",
    "cycles: [1, 8]": "cycles: [1]",
    "measure_continuous: {for: 2 s}": "measure_continuous: {for: 1 s}",
}


def short_check(folder: Path) -> Path:
    """Its file, in this folder."""
    path = folder / "short_check.yaml"
    path.write_text(shipped("sequences", "quick_check", SHORTER), encoding="utf-8")
    return path
