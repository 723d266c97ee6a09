"""A two-hour soak in virtual time, with everything that a dry run does: documents, guard, run folder."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Iterator
from pathlib import Path

from benchctl.launch.run import Documents, run
from benchmarks.nobody import Nobody
from benchmarks.rig import AMPLIFIER, BENCH
from benchmarks.rows import Row
from benchmarks.timing import seconds

SOAK = Path(__file__).with_name("soak.yaml")


def soak(out: Path) -> Path:
    """Run it; returns its run folder."""
    return run(Documents(SOAK, BENCH, AMPLIFIER), Nobody(), out=out, dry_run=True).folder


def rows() -> Iterator[Row]:
    """One run: it is so long that it needs no average."""
    with tempfile.TemporaryDirectory() as out:
        folders: list[Path] = []
        took_s = seconds(lambda: folders.append(soak(Path(out))))
        samples = _samples(folders[0])
    yield Row(
        "two-hour soak in virtual time",
        f"{took_s:.1f} s",
        "under 30 s",
        f"{samples:,} samples of the guard, five a second, supply and heatsink",
    )


def _samples(folder: Path) -> int:
    with (folder / "trend.csv").open(newline="") as file:
        return sum(1 for _ in csv.reader(file)) - 1
