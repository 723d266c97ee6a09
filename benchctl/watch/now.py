"""What can be seen of a run at one moment, in words that a terminal and a page show alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

State = Literal[
    "opening",  # nothing was switched on yet
    "off",  # the amplifier is off
    "on",  # it is on, without a signal
    "driven",
    "asking",  # a person is asked for something
    "stopping",  # the safe state is on its way
    "finished",
    "tripped",  # a limit has ended the run
    "ended",  # a person or an error has
    "unsafe",  # the safe state is not confirmed: something may still be on
]
# Words that are read from some metres away.
HEADLINES: Mapping[State, str] = {
    "opening": "OPENING",
    "off": "OFF",
    "on": "ON",
    "driven": "SIGNAL ON",
    "asking": "YOUR TURN",
    "stopping": "STOPPING",
    "finished": "FINISHED",
    "tripped": "TRIPPED",
    "ended": "ENDED",
    "unsafe": "NOT SAFE",
}


@dataclass(frozen=True)
class LimitNow:
    """A limit with its last reading, in words.

    `used`: how far the reading is on its way to the bound, 0 to 1; None where no present reading tells.
    `is_missing`: a reading that should come all the time does not.
    """

    signal: str
    reading: str
    bound: str
    used: float | None
    is_missing: bool = False


@dataclass(frozen=True)
class OutputNow:
    """What the last record showed of an output, in words; empty: it is not known."""

    channel: str
    power: str = ""
    distortion: str = ""
    voltage: str = ""


@dataclass(frozen=True)
class ResultNow:
    """The last figure of a channel, in words; `channel` is empty where it is of the whole amplifier."""

    channel: str
    name: str
    value: str
    verdict: str = ""


@dataclass(frozen=True)
class PartNow:
    """A part of the safe state, and how far it has come."""

    words: str
    is_confirmed: bool


@dataclass(frozen=True)
class Now:
    """A run at one moment.

    Attributes:
        sentence: what the headline does not say: the question, why it stops, how it ended.
        title, mark: of the sequence and its amplifier; that the run is simulated, empty if it is not.
        step, steps: the number of the step, counted from 1 (0: none yet), and how many there are.
        label, progress: of the step, and how far it has come.
        elapsed, remaining: h:mm:ss.
        drive: what drives the amplifier; empty if nothing does.
        supply: its voltage and current and the heatsink's temperature, as the guard read them last.
        record_age_s: how old the record is that `outputs` tells of; None: there is none.
        outputs_are_old: it is too old to speak of now.
        notes: the last lines told, newest last.
        is_over: the run has ended.
    """

    state: State
    sentence: str = ""
    title: str = ""
    mark: str = ""
    step: int = 0
    steps: int = 0
    label: str = ""
    progress: str = ""
    elapsed: str = ""
    remaining: str = ""
    drive: str = ""
    outputs: tuple[OutputNow, ...] = ()
    supply: tuple[str, ...] = ()
    record_age_s: float | None = None
    outputs_are_old: bool = False
    limits: tuple[LimitNow, ...] = ()
    results: tuple[ResultNow, ...] = ()
    parts: tuple[PartNow, ...] = ()
    notes: tuple[str, ...] = ()
    is_over: bool = False

    @property
    def headline(self) -> str:
        """The state in a word or two."""
        return HEADLINES[self.state]
