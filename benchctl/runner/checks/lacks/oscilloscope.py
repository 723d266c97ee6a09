"""What the oscilloscope lacks by its driver file, what is done without it, and what is refused."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.quantity import render_time
from benchctl.runner.acting.run import Files


def hazards_of(files: Files) -> Iterator[str]:
    """What no run can do without."""
    driver = _driver(files.bench)
    if driver is None:
        return
    words, trigger = driver.commands, files.bench.signals.trigger
    if trigger.is_external and not words.trigger_external:
        yield (
            "the oscilloscope has no external trigger ('trigger_external: none' in its driver file); wire the "
            "generator's sync output to a channel, and give 'trigger: channel N' in the bench file"
        )
    if not trigger.is_external and not words.trigger_channel:
        yield (
            "the oscilloscope cannot trigger on a channel ('trigger_channel: none' in its driver file); wire the "
            "generator's sync output to its external trigger, and give 'trigger: external' in the bench file"
        )
    if not words.trigger_free and not words.force_trigger:
        yield (
            "the oscilloscope takes no record without a trigger, so idle current, dc and the zero of its inputs cannot "
            "be seen; give 'trigger_free' or 'force_trigger' in its driver file"
        )


def notes_of(files: Files) -> Iterator[str]:
    """What is good to know."""
    driver = _driver(files.bench)
    if driver is None:
        return
    words = driver.commands
    if not words.get_finished or words.get_finished.waits:
        yield (
            "the oscilloscope is not asked on the way whether a record is whole, so each record takes as long as it may"
        )
    if driver.roll_from_s is not None:
        span = render_time(driver.roll_from_s * driver.divisions.horizontal)
        yield (
            f"the oscilloscope's records of {span} or longer wait for no trigger; they are longer than a repetition, "
            "and bursts are looked for in them"
        )
    yield from for_the_record(files)


def for_the_record(files: Files) -> Iterator[str]:
    """Every sentence that journal and page keep."""
    driver = _driver(files.bench)
    if driver is not None and not driver.commands.get_vertical:
        yield "the ranges of the oscilloscope are as set, and cannot be read back"


def _driver(bench: Bench) -> OscilloscopeDriver | None:
    driver = bench.drivers.get("oscilloscope")
    return driver if isinstance(driver, OscilloscopeDriver) else None
