"""Converts a level as it is written into volts of the generator, with what this run knows so far."""

from __future__ import annotations

from benchctl.documents.model.level import Level
from benchctl.errors import MeasurementError
from benchctl.quantity import render
from benchctl.runner.acting.drive import tuned_hz
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.levels import output_v


def level_in_v(run: Run, level: Level, load_ohm: float | None) -> float:
    """V RMS of the generator, as near as it can be set. A power is converted with the gain: as a person has set it in
    this run, else the amplifier file's.

    Raises:
        MeasurementError: a power without a load, or no clean level is known for this load and this frequency.
    """
    return run.bench.generator.settable(_exact_level_v(run, level, load_ohm))


def _exact_level_v(run: Run, level: Level, load_ohm: float | None) -> float:
    if level.of == "volts":
        return level.value
    if load_ohm is None:
        raise MeasurementError(
            f"no load is connected, and a level of {level} needs one; 'set' or 'sweep' a load before"
        )
    if level.of == "clean":
        return level.value * _clean_level_v(run, level, load_ohm)
    return output_v(level, run.files.amplifier, load_ohm) / gain_of(run)


def _clean_level_v(run: Run, level: Level, load_ohm: float) -> float:
    frequency_hz = tuned_hz(run)
    found = run.clean_level(load_ohm, frequency_hz)
    if found is None:
        raise MeasurementError(
            f"no clean level is known at {render(load_ohm, 'ohm')} and {render(frequency_hz, 'Hz')}, and a level of "
            f"{level} follows from it; put a find_clean_level before this step"
        )
    return found.level_v


def gain_of(run: Run) -> float:
    """The highest gain that a person has set in this run, so that no channel gives more than is asked for; else the
    nominal one.
    """
    latest = {figure.channel: figure.value for figure in run.measured if _is_as_set(figure.name, figure.frequency_hz)}
    return max(latest.values(), default=run.files.amplifier.gain_ratio)


def _is_as_set(name: str, frequency_hz: float | None) -> bool:
    """Whether this is a gain that was set. The gains of a response have a frequency."""
    return name == "gain" and frequency_hz is None
