"""Put a bench into the safe state now, whatever happened before."""

from __future__ import annotations

from pathlib import Path

from benchctl.clock import RealClock
from benchctl.documents.reader import load_bench
from benchctl.guard.confirmation import Confirmation
from benchctl.guard.safe_state import Tell, make_safe
from benchctl.instruments.bench import open_bench
from benchctl.instruments.interlock import Interlock


def safe(bench_file: str | Path, tell: Tell = lambda _: None) -> tuple[Confirmation, ...]:
    """Command the safe state and ask each instrument to confirm it. An instrument that is gone does not delay the
    others.

    Args:
        bench_file: the bench.
        tell: is told at once of each part that does not confirm, while the others are still asked.

    Raises:
        DocumentError: the bench file is wrong.
    """
    file = load_bench(bench_file, joins_calibration=False)
    clock = RealClock()
    addresses = {role: entry.address for role, entry in file.instruments.items()}
    with open_bench(file, addresses, Interlock(clock), clock.sleep, connect=False) as bench:
        return make_safe(bench, tell=tell)
