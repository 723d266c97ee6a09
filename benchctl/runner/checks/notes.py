"""Notes: what is good to know before a run begins, neither a hazard nor a warning."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.guard.limits import WATCHDOG_S
from benchctl.quantity import render
from benchctl.runner.acting.run import Files
from benchctl.runner.checks import time_to_safe


def of_files(files: Files) -> Iterator[str]:
    """Every note."""
    yield from time_to_safe.notes_of(files.bench)
    driver = files.bench.drivers.get("supply")
    if not isinstance(driver, SupplyDriver):
        yield "the bench file has no supply, so nothing can switch the amplifier's supply off but you"
    elif driver.commands.has_watchdog:
        yield (
            "the supply has a watchdog of its own: it switches its outputs off where it hears nothing of the guard for "
            f"{render(WATCHDOG_S, 's')}"
        )
    else:
        yield (
            "the driver file names no watchdog of the supply: if the computer or the network stops, its outputs stay on"
        )
