"""The records of a run as arrays in volts and amperes, with their time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import PurePosixPath

import numpy as np
import pandas as pd

from benchctl.archive.captures import load_capture
from benchctl.archive.folder import CAPTURE_SUFFIX, RunFolder
from benchctl.archive.journal.entries import conditions_of
from benchctl.archive.journal.events import CAPTURE
from benchctl.archive.journal.journal import Event
from benchctl.errors import UsageError, quote
from benchctl.measure.conditions import NOT_ON_RECORD, Conditions
from benchctl.measure.signal.record import OUTPUT, OUTPUT_CURRENT, Capture, Samples


@dataclass(frozen=True)
class RecordedCapture:
    """One record of the oscilloscope.

    Attributes:
        name: its file in the run folder, as in the column `capture` of the figures.
        signals: signal -> its values; `output A` in V, `output current A` and `supply current` in A.
        units: signal -> the unit of its values.
        conditions: what the bench was set to; empty where that is not on record.
        clipped: the signals that reached the end of the oscilloscope's range: they were larger than the values say.
        start_s: time of the first sample, from the trigger.
        interval_s: time from one sample to the next.
        taken_s: when it was taken, from the beginning of the run.
        simulated: whether an instrument of the run was simulated; None where that is not on record.
    """

    name: str
    signals: Mapping[str, Samples]
    units: Mapping[str, str]
    conditions: Conditions
    clipped: tuple[str, ...]
    start_s: float
    interval_s: float
    taken_s: float
    simulated: bool | None

    def __repr__(self) -> str:
        """Which record it is; a notebook would show every sample otherwise."""
        signals = ", ".join(self.signals)
        simulated = "simulated, " if self.simulated else ""
        return f"<{self.name}: {simulated}{self.samples} samples at {self.sample_rate_hz:g} Hz of {signals}>"

    @property
    def samples(self) -> int:
        """How many values each signal has."""
        return len(next(iter(self.signals.values())))

    @property
    def sample_rate_hz(self) -> float:
        """Samples in a second."""
        return 1.0 / self.interval_s

    @cached_property
    def time_s(self) -> Samples:
        """The time of each sample, from the trigger: negative before it."""
        return self.start_s + self.interval_s * np.arange(self.samples, dtype=np.float64)

    @property
    def volts(self) -> dict[str, Samples]:
        """The amplifier's channel -> the voltage at its output, V."""
        return {channel: self.signals[OUTPUT + channel] for channel in self._after(OUTPUT)}

    @property
    def amperes(self) -> dict[str, Samples]:
        """The amplifier's channel -> the current into its load, A; empty where no probe measures it."""
        return {channel: self.signals[OUTPUT_CURRENT + channel] for channel in self._after(OUTPUT_CURRENT)}

    def frame(self) -> pd.DataFrame:
        """The signals as columns, by time in s; `attrs["units"]` has their units."""
        found = pd.DataFrame(dict(self.signals), index=pd.Index(self.time_s, name="time_s"))
        found.attrs["units"] = {"time_s": "s", **self.units}
        return found

    def _after(self, beginning: str) -> list[str]:
        """The channels of the signals that begin so; 'output current A' is no output called 'current A'."""
        named = (signal for signal in self.signals if signal.startswith(beginning))
        return [
            signal.removeprefix(beginning)
            for signal in named
            if beginning == OUTPUT_CURRENT or not signal.startswith(OUTPUT_CURRENT)
        ]


class Captures(Mapping[str, RecordedCapture]):
    """The records of a run by the names of their files; each is read when it is asked for.

    `captures["captures/0007-burst.npz"]`, `captures["0007-burst"]` and `captures["7"]` are the same one.
    """

    def __init__(self, folder: RunFolder, events: Sequence[Event], simulated: bool | None) -> None:
        self._folder = folder
        self._files = folder.capture_files()
        self._told = {str(event["file"]): event for event in events if event["event"] == CAPTURE}
        self._simulated = simulated

    def __getitem__(self, name: str) -> RecordedCapture:
        """One record.

        Raises:
            UsageError: there is none of that name.
            ArchiveError: its file cannot be read.
        """
        file = self._file_of(str(name))
        conditions = conditions_of(self._told[file]) if file in self._told else NOT_ON_RECORD
        return recorded(load_capture(self._folder.inside(file)), conditions, self._simulated)

    def __iter__(self) -> Iterator[str]:
        return iter(self._files)

    def __len__(self) -> int:
        return len(self._files)

    def __contains__(self, name: object) -> bool:
        return isinstance(name, str) and len(self._named(name)) == 1

    def __repr__(self) -> str:
        return f"<{len(self)} captures of {self._folder.name}>"

    def _file_of(self, name: str) -> str:
        found = self._named(name)
        if len(found) != 1:
            several = f"{len(found)} captures" if found else "no capture"
            raise UsageError(
                f"{self._folder.name} has {several} of the name {quote(name)}",
                advice="list(run.captures) lists all of them.",
            )
        return found[0]

    def _named(self, name: str) -> list[str]:
        return [file for file in self._files if name == file or name in _short_names(file)]


def _short_names(file: str) -> tuple[str, ...]:
    """0007-burst.npz, 0007-burst, 0007 and 7."""
    base = PurePosixPath(file).name
    number = base.partition("-")[0]
    return base, base.removesuffix(CAPTURE_SUFFIX), number, number.lstrip("0")


def recorded(capture: Capture, conditions: Conditions, simulated: bool | None) -> RecordedCapture:
    """A capture with its codes turned into values."""
    return RecordedCapture(
        name=capture.name,
        signals={signal: trace.values() for signal, trace in capture.traces.items()},
        units={signal: trace.unit for signal, trace in capture.traces.items()},
        conditions=conditions,
        clipped=tuple(signal for signal, trace in capture.traces.items() if trace.is_clipped),
        start_s=capture.start_s,
        interval_s=capture.interval_s,
        taken_s=capture.taken_s,
        simulated=simulated,
    )
