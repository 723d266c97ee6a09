"""What the load cannot be asked by its driver file, and what follows from that."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.documents.driver_file.load import ElectronicLoadDriver, RelayBankDriver
from benchctl.runner.acting.run import Files


def for_the_record(files: Files) -> Iterator[str]:
    """Every sentence that preflight tells, and that journal and page keep."""
    driver = files.bench.drivers.get("load")
    if isinstance(driver, RelayBankDriver) and not driver.commands.get_closed:
        yield (
            "load as switched, not confirmed: its driver file has no question which relays are closed, so a relay that "
            "sticks is not seen"
        )
    if isinstance(driver, ElectronicLoadDriver) and (lacking := _unasked(driver)):
        yield f"load as switched, not confirmed: its driver file has no question for {lacking}"


def _unasked(driver: ElectronicLoadDriver) -> str:
    words = driver.commands
    asked = (("its input", words.get_connected), ("its resistance", words.get_resistance))
    return " and ".join(what for what, question in asked if not question)
