"""How a record is set: time base, length and place of the trigger, as an instrument can have them.

Preflight uses the same functions, so that it foretells what a record will be.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from benchctl.documents.driver_file.language.steps import Way
from benchctl.documents.driver_file.oscilloscope import OscilloscopeDriver
from benchctl.instruments.oscilloscope.record import Record

# An instrument that is not asked whether the record is whole gets so much longer than the record needs.
UNASKED_S = 0.5


@dataclass(frozen=True)
class Ratings:
    """What the bench file says of it: bits of its converter, samples for each channel, samples a second."""

    bits: int
    memory: int
    sample_rate_hz: float


@dataclass(frozen=True)
class Setup:
    """What is set for a record.

    Attributes:
        span_s: the whole record, which may be longer than what is wanted.
        pretrigger_s: from its first sample to the trigger.
        samples: of each channel.
        length: what is sent as the number of samples.
        memory: the instrument's word for that length, or ''.
        rolls: no trigger is waited for: the record is long enough to hold what is wanted somewhere.
    """

    span_s: float
    pretrigger_s: float
    samples: int
    length: int
    memory: str
    rolls: bool

    def values(self, divisions: int) -> Mapping[str, float | int | str]:
        """The values that a driver file may use in `set_record`."""
        interval_s = self.span_s / self.samples
        return {
            "seconds_per_division": self.span_s / divisions,
            "span_s": self.span_s,
            "interval_s": interval_s,
            "sample_rate_hz": 1.0 / interval_s,
            "samples": self.length,
            "memory": self.memory,
            "pretrigger_s": self.pretrigger_s,
            "pretrigger_percent": 100.0 * self.pretrigger_s / self.span_s,
            "pretrigger_samples": round(self.pretrigger_s / interval_s),
            "start_s": 0.0 - self.pretrigger_s,
            "center_s": self.span_s / 2 - self.pretrigger_s,
            "trigger_from_center_s": self.pretrigger_s - self.span_s / 2,
        }


def setup_for(
    record: Record, driver: OscilloscopeDriver, ratings: Ratings, channels: int = 1, span_s: float | None = None
) -> Setup:
    """What to set for a record of so many channels.

    `span_s`: the length that the instrument has in fact, or that is tried, where that is known.
    """
    rolls = record.triggered and is_rolled(_held_s(record, driver), driver)
    wanted_s = record.span_s + record.trigger_every_s if rolls else _held_s(record, driver)
    span_s = span_s or span_in_steps(wanted_s, driver)
    rate_hz = min(record.samples / record.span_s, ratings.sample_rate_hz)
    # A length that is a little above a whole number by rounding alone needs no sample more.
    wanted = max(math.ceil(rate_hz * span_s - 1e-6), 1)
    length = driver.memory.length_for(wanted, channels, ratings.memory)
    samples = min(driver.memory.samples_of(length, channels), max(int(ratings.sample_rate_hz * span_s), 1))
    share = driver.pretrigger
    pretrigger_s = record.pretrigger_s if share is None else share * span_s
    return Setup(span_s, pretrigger_s, samples, length, driver.memory.word_of(length), rolls)


def is_rolled(span_s: float, driver: OscilloscopeDriver) -> bool:
    """Whether a record so long waits for no trigger."""
    roll_from_s = driver.roll_from_s
    return roll_from_s is not None and span_in_steps(span_s, driver) / driver.divisions.horizontal >= roll_from_s


def span_in_steps(span_s: float, driver: OscilloscopeDriver) -> float:
    """The shortest time base that holds a record, as its length."""
    divisions = driver.divisions.horizontal
    return (
        in_range(stepped(span_s / divisions, "seconds_per_division", driver), "seconds_per_division", driver)
        * divisions
    )


def scale_set_v(volts_per_division: float, driver: OscilloscopeDriver) -> float:
    """The range that is set when one is wanted, V per division at the input."""
    setting = "volts_per_division"
    return in_range(stepped(volts_per_division, setting, driver), setting, driver)


def stepped(value: float, setting: str, driver: OscilloscopeDriver, way: Way = "up") -> float:
    """The value that can be set: the driver file may name the steps of a setting."""
    steps = driver.steps.get(setting)
    return value if steps is None else float(steps.rounded(value, way))


def in_range(value: float, setting: str, driver: OscilloscopeDriver) -> float:
    """The nearest value that the instrument takes: the driver file may name the least and the most of a setting."""
    limits = driver.limits.get(setting)
    return value if limits is None else min(max(value, limits.least), limits.most)


def _held_s(record: Record, driver: OscilloscopeDriver) -> float:
    """How long a record must be so that it holds what is wanted, where the trigger lies at a fixed part of it."""
    share = driver.pretrigger
    if share is None:
        return record.span_s
    before_s = record.pretrigger_s / share if share > 0 else 0.0
    after_s = (record.span_s - record.pretrigger_s) / (1 - share) if share < 1 else math.inf
    return max(before_s, after_s)
