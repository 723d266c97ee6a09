"""What is asked of an oscilloscope: which inputs, and which stretch of time."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Input:
    """What one oscilloscope channel is wired to; `per_volt` is the signal's unit per volt at the input."""

    signal: str
    channel: int
    unit: str
    per_volt: float


@dataclass(frozen=True)
class Record:
    """The stretch of time to acquire, and how finely; a trigger comes within `trigger_every_s`."""

    span_s: float
    pretrigger_s: float
    samples: int
    triggered: bool = True
    trigger_every_s: float = 0.0
