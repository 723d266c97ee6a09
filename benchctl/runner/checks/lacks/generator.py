"""What the generator lacks by its driver file, what replaces it, and what is not possible without it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

from benchctl.documents.bench_file.bench import Bench, InputsByGenerator
from benchctl.documents.driver_file.generator import GeneratorDriver
from benchctl.documents.driver_file.supply import SupplyDriver
from benchctl.documents.sequence_file.power_steps import MeasureBurst, Soak
from benchctl.documents.sequence_file.signal_steps import MeasureIntermodulation, MeasureSquare
from benchctl.documents.sequence_file.step_base import StepBase
from benchctl.errors import MeasurementError
from benchctl.instruments.bursts.burst import Burst
from benchctl.instruments.bursts.table import FEWEST_POINTS_A_CYCLE, is_fine_enough
from benchctl.instruments.bursts.two_tones import TwoTones
from benchctl.instruments.generator import table_points
from benchctl.quantity import render
from benchctl.runner.acting.run import Files
from benchctl.runner.expected.rests import generator_driver, rest_ratio
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.steps.soak import cycles_of

# One trigger, and what the guard and the runner may ask meanwhile.
QUESTIONS_A_BURST = 4
# What follows from a burst that a driver file may bound -> what it is called and its unit.
_IN_WORDS: Mapping[str, tuple[str, str]] = {
    "burst": ("bursts of", "s"),
    "duty": ("bursts that last this part of their period:", "1"),
    "depth": ("a modulation depth of", "1"),
}


# -- of the whole run ------------------------------------------------------------------------------------------------


def hazards_of(files: Files, *, unattended: bool) -> Iterator[str]:
    """What nothing can replace, and what needs a person while nobody is present."""
    driver = generator_driver(files.bench)
    if driver is not None and driver.sync == "none":
        yield (
            "the generator has no sync output ('sync: none' in its driver file), and each record of the oscilloscope "
            "waits for it; use a generator that has one"
        )
    if driver is None or driver.commands.get_output or not unattended or _supply_confirms(files.bench):
        return
    yield (
        "nobody is present, the generator's output cannot be confirmed off ('get_output: none' in its driver file), "
        "and the supply's cannot either; be present, or use a supply that can be asked"
    )


def warnings_of(files: Files) -> Iterator[str]:
    """What a person must accept."""
    driver = generator_driver(files.bench)
    if driver is None:
        return
    if trusted := driver.trusted:
        yield f"the generator is not reset: {trusted}"
    if not driver.commands.get_output:
        yield (
            "the generator's output cannot be confirmed off: its driver file has 'get_output: none'; it is told to go "
            "off, and what is confirmed is that the supply is off"
        )


def for_the_record(files: Files) -> Iterator[str]:
    """What preflight notes, and journal and page keep."""
    driver = generator_driver(files.bench)
    if driver is None:
        return
    for words, what in ((driver.commands.get_level, "level"), (driver.commands.get_frequency, "frequency")):
        if not words:
            yield (
                f"the generator's {what} is as set: its driver file has 'get_{what}: none', so nothing reads it back "
                "but the first record under a tone"
            )
    if not driver.errors:
        yield "the generator tells no errors: what it refuses shows only in what it reads back"


def _supply_confirms(bench: Bench) -> bool:
    driver = bench.drivers.get("supply")
    return isinstance(driver, SupplyDriver) and bool(driver.commands.get_output)


# -- of one step -----------------------------------------------------------------------------------------------------


def hazards_of_step(step: StepBase, state: ExpectedState) -> Iterator[str]:
    """Bursts and other waves that the generator cannot play."""
    driver = generator_driver(state.bench)
    if driver is None:
        return
    yield from _other_waves(step, driver)
    for burst in _bursts(step, state):
        if not driver.commands.has_bursts:
            yield (
                f"the generator plays no bursts: {_where(driver)} has 'burst_on: none'; "
                "leave this step out, or use another generator"
            )
            return
        yield from _of_burst(driver, burst)
        yield from _too_fast(driver, burst, state.pace.ask_s("generator"))


def _other_waves(step: StepBase, driver: GeneratorDriver) -> Iterator[str]:
    words = driver.commands
    if isinstance(step, MeasureSquare) and not words.square_on:
        yield (
            f"the generator has no square wave: {driver.source.name} has no 'square_on'; "
            "leave this step out, or use another generator"
        )
    if isinstance(step, MeasureIntermodulation) and not words.two_tones_on:
        yield (
            f"the generator cannot play two tones at once: {driver.source.name} has no 'two_tones_on'; "
            "leave this step out, or use another generator"
        )
    elif isinstance(step, MeasureIntermodulation) and "table" in words.two_tones_on.uses:
        yield from _too_coarse_for_two(step, driver)


def _too_coarse_for_two(step: MeasureIntermodulation, driver: GeneratorDriver) -> Iterator[str]:
    tones = TwoTones(*step.pair_hz, high_share=0.5, level_v=1.0)
    points = table_points(driver, tones.high_hz, 1.0 / tones.common_hz)
    if not is_fine_enough(points, tones.high_hz, 1.0 / tones.common_hz):
        both = f"{render(tones.low_hz, 'Hz')} and {render(tones.high_hz, 'Hz')}"
        yield (
            f"a common period of {both} lasts {render(1.0 / tones.common_hz, 's')}, and a table of {points} samples is "
            "too coarse for it; take tones with a larger common divisor"
        )


def notes_of_step(step: StepBase, state: ExpectedState) -> Iterator[str]:
    """How bursts differ from what is asked for."""
    driver = generator_driver(state.bench)
    if driver is None or not isinstance(step, MeasureBurst | Soak) or not list(_bursts(step, state)):
        return
    if driver.rests_are_silent and step.low_level_ratio > 0:
        asked = f"{20 * math.log10(step.low_level_ratio):.3g} dB"
        yield f"silent between bursts, {asked} was asked: the generator has no level between them ('low_level: none')"
    if driver.commands.trigger_burst:
        yield "the run begins each burst itself, as evenly as the link allows; its figures say how evenly that was"
    if isinstance(state.bench.inputs, InputsByGenerator) and not driver.commands.burst_start and len(state.driven) > 1:
        yield (
            "the generator's outputs begin their bursts one after the other (no 'burst_start' in its driver file): "
            "bursts of different channels do not begin together, and the supply gives less than if they did"
        )
    if driver.phase == "free":
        yield (
            "bursts begin anywhere in a cycle ('phase: free'): only whole cycles count, and there is no first and no "
            "last one"
        )


def _bursts(step: StepBase, state: ExpectedState) -> Iterator[Burst]:
    """The bursts of a step at a level of 1, which is not known yet."""
    frequency_hz = state.frequency_hz or 1000.0
    if isinstance(step, MeasureBurst):
        rest = rest_ratio(state.bench, step.low_level_ratio)
        yield from (Burst(frequency_hz, cycles, 1.0, rest, step.every_s) for cycles in step.cycles)
    elif isinstance(step, Soak):
        rest = rest_ratio(state.bench, step.low_level_ratio)
        try:
            cycles = cycles_of(step, frequency_hz, rest)
        except MeasurementError:  # a hazard of its own
            return
        if cycles is not None:
            yield Burst(frequency_hz, cycles, 1.0, rest, step.every_s)


def _of_burst(driver: GeneratorDriver, burst: Burst) -> Iterator[str]:
    uses = driver.commands.burst_on.uses
    values = burst.values()
    given = {
        "burst": (burst.burst_s, "burst_s"),
        "duty": (float(values["duty_percent"]) / 100, "duty_percent"),
        "depth": (float(values["depth_percent"]) / 100, "depth_percent"),
    }
    yield from _beyond(driver, {name: value for name, (value, used) in given.items() if used in uses})
    yield from _too_coarse(driver, burst)
    if driver.phase == "free" and burst.cycles < 2:
        yield ("a burst of 1 cycle that begins anywhere in a cycle ('phase: free') has no whole cycle; take 2 or more")


def _beyond(driver: GeneratorDriver, values: Mapping[str, float]) -> Iterator[str]:
    """What lies beyond the limits of the driver file."""
    for name, value in values.items():
        bounds = driver.limits.get(name)
        if bounds is None or bounds.least * (1 - 1e-9) <= value <= bounds.most * (1 + 1e-9):
            continue
        words, unit = _IN_WORDS[name]
        least, most, shown = (render(each, unit) for each in (bounds.least, bounds.most, value))
        yield f"{words} {shown}, and the generator takes {least} to {most}, as its driver file says"


def _too_fast(driver: GeneratorDriver, burst: Burst, question_s: float) -> Iterator[str]:
    """Bursts that the run begins itself must leave time for the questions in between."""
    if driver.commands.trigger_burst and burst.every_s < QUESTIONS_A_BURST * question_s:
        least = render(QUESTIONS_A_BURST * question_s, "s")
        yield (
            f"the run begins each burst itself, every {render(burst.every_s, 's')}, and a question to the generator "
            f"takes {render(question_s, 's')}; give 'every: {least}' or longer"
        )


def _too_coarse(driver: GeneratorDriver, burst: Burst) -> Iterator[str]:
    if not driver.commands.bursts_by_table:
        return
    points = table_points(driver, burst.frequency_hz, burst.every_s)
    if not is_fine_enough(points, burst.frequency_hz, burst.every_s):
        highest = render(points / burst.every_s / FEWEST_POINTS_A_CYCLE, "Hz", digits=3)
        yield (
            f"a table of {points} samples in {render(burst.every_s, 's')} makes sines up to {highest}, and "
            f"{render(burst.frequency_hz, 'Hz')} is asked for; use a lower frequency, or a shorter 'every'"
        )


def _where(driver: GeneratorDriver) -> str:
    position = driver.commands.burst_on.position
    return driver.source.name + (f":{position.line}:{position.column}" if position else "")
