"""What the supply lacks by its driver file, what replaces it, and what is refused without it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.driver_file.load import ElectronicLoadDriver, RelayBankDriver
from benchctl.documents.driver_file.supply import SupplyCommands, SupplyDriver
from benchctl.quantity import render
from benchctl.runner.acting.run import Files

_LIMIT = "'limits: {supply_voltage: {above: ...}}'"


def hazards_of(files: Files, *, unattended: bool) -> Iterator[str]:
    """What must not be missing if nobody is present."""
    words = _words(files.bench)
    if words is None or not unattended:
        return
    if not _is_sure_of_voltage(words) and not _has_upper_limit(files):
        yield (
            f"nobody is present, {_overvoltage(words)}, and nothing limits supply_voltage; limit it at what the "
            f"amplifier bears, {render(files.amplifier.supply.maximum_v, 'V')}: {_LIMIT}"
        )
    if not words.get_output and not _confirms_load_off(files.bench):
        yield (
            "nobody is present, the supply's outputs cannot be confirmed off ('get_output: none' in its driver file), "
            "and no load instrument takes the load off and confirms it; be present, or use a supply that can be asked"
        )


def coarse_protection(voltage_v: float, overvoltage_v: float, bench: Bench) -> Iterator[str]:
    """Protection in steps is set to the next lower step, which must still be above the voltage."""
    driver = bench.drivers.get("supply")
    steps = driver.steps.get("overvoltage") if isinstance(driver, SupplyDriver) else None
    if steps is not None and (level_v := steps.rounded(overvoltage_v, "down")) <= voltage_v:
        yield (
            f"the supply's over-voltage protection is set in steps, here to {render(level_v, 'V')} instead of "
            f"{render(overvoltage_v, 'V', digits=4)}, and would trip at {render(voltage_v, 'V')}; give 'overvoltage' "
            "one step higher, if the amplifier bears it"
        )


def warnings_of(files: Files) -> Iterator[str]:
    """What a person must accept."""
    words = _words(files.bench)
    if words is None:
        return
    if not words.get_output:
        yield (
            "the supply's outputs cannot be confirmed off: its driver file has 'get_output: none'; they are told to go "
            "off, and you must look at the supply"
        )
    if not _is_sure_of_voltage(words) and not _has_upper_limit(files):
        yield f"{_overvoltage(words)}, and nothing limits supply_voltage; give {_LIMIT}, or set it at its panel"


def notes_of(files: Files) -> Iterator[str]:
    """What is good to know."""
    yield from for_the_record(files)


def for_the_record(files: Files) -> Iterator[str]:
    """Every sentence that journal and page keep."""
    words = _words(files.bench)
    if words is None:
        return
    if not _is_sure_of_voltage(words):
        yield f"{_overvoltage(words)}: the guard's limit on supply_voltage alone stops the run"
    if not words.set_overcurrent:
        yield (
            "no over-current protection of the supply: its current limit stands in, so a fault shows as a low voltage, "
            "on which the guard trips"
        )
    elif not words.get_overcurrent:
        yield "the over-current protection of the supply is set and cannot be read back"
    if not words.get_tripped:
        yield "the supply does not tell why an output goes off by itself; that counts as a protection that has tripped"
    if not words.get_output:
        yield "the supply's outputs cannot be confirmed off"
    if not words.get_voltage or not words.get_current_limit:
        yield "voltage or current limit of the supply is set and cannot be read back"
    yield from _remote_sense(files.bench)


def _remote_sense(bench: Bench) -> Iterator[str]:
    supply = bench.instruments.supply
    if supply is not None and supply.main.remote_sense:
        yield "the supply holds and reads its voltage at the amplifier's terminals, where its sense leads are"


def _words(bench: Bench) -> SupplyCommands | None:
    driver = bench.drivers.get("supply")
    return driver.commands if isinstance(driver, SupplyDriver) else None


def _is_sure_of_voltage(words: SupplyCommands) -> bool:
    return bool(words.set_overvoltage and words.get_overvoltage)


def _overvoltage(words: SupplyCommands) -> str:
    if words.set_overvoltage:
        return "the over-voltage protection of the supply is set and cannot be read back"
    return "no over-voltage protection of the supply can be set"


def _has_upper_limit(files: Files) -> bool:
    limits = (files.sequence.limits.supply_voltage, files.bench.limits.supply_voltage)
    return any(limit is not None and math.isfinite(limit.high) for limit in limits)


def _confirms_load_off(bench: Bench) -> bool:
    driver = bench.drivers.get("load")
    if isinstance(driver, RelayBankDriver):
        return bool(driver.commands.get_closed)
    return isinstance(driver, ElectronicLoadDriver) and bool(driver.commands.get_connected)
