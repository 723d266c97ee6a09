"""One tree of errors. The class says what failed; the exit code follows from the class.

::

    BenchctlError
    ├── DocumentError            2  a file is wrong: every problem with file, line and column
    ├── UsageError               2  an option or a folder name is wrong
    ├── PreflightRefused         3  the run would be unsafe or impossible: every hazard found
    ├── LimitTripped             4  a watched limit was passed: limit, value, time
    ├── RequirementFailed        1  the sequence itself asked to end here: a `require` did not hold
    ├── InstrumentError          5  an instrument or its link failed: instrument and address
    │   ├── LinkError               the link
    │   │   ├── NotConnected        nothing answers at the address
    │   │   ├── ConnectionLost      the peer went away
    │   │   └── NoAnswer            the time for an answer is over
    │   ├── GarbledAnswer           an answer came that does not fit the question
    │   ├── NoRecord                the oscilloscope took no whole record in the time allowed
    │   ├── SettingsLost            the instrument was switched off and on since it was first met
    │   ├── InstrumentReports       the instrument's own error queue, with its SCPI number
    │   ├── NotAcknowledged         a message is answered otherwise than with what acknowledges it
    │   ├── SettingRefused          a setting reads back with another value
    │   ├── SettingChanged          a confirmed setting has changed, and the run did not change it
    │   ├── InstrumentsDisagree     two show one quantity differently, or one shows an impossible value
    │   └── NotConfirmedOff         at the end of a run an output is not known to be off
    ├── GuardianLost             5  the guardian did not start, is gone, or took over because the run hung
    ├── OperatorStop             6  a person stopped the run
    ├── ArchiveError             5  the run folder cannot be written or read
    ├── ClusterError             5  the computers that were to do a part of the work went away
    └── MeasurementError         -  a record cannot give the figure; the run records why and goes on
        ├── ClippedRecord           the oscilloscope's converter was at the end of its range
        ├── UnreadableRecord        values that are not numbers
        ├── RecordTooShort          fewer cycles, samples or repetitions than the figure needs
        ├── SampledTooSlowly        the band edge lies beyond half the sample rate
        ├── SilentRecord            no signal larger than the converter's steps
        ├── WrongFrequency          not the tone that the generator was set to
        ├── ProtectionNoticed       the amplifier went silent while it was driven
        ├── PartNotMeasured         some of what a step measures gave no figures; the rest is in the journal
        └── BurstNotFound           no burst, a burst of another length, or one cut off by the record's edge
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from benchctl.readable import printable

if TYPE_CHECKING:
    from pathlib import Path

_LONGEST_QUOTE = 60
# SCPI-99, 21.8.2: the text of an error is at most 255 characters.
_LONGEST_REPORT = 255


def quote(text: object) -> str:
    """`text` in quotes for a message: short, and without anything that could move a terminal's cursor."""
    return f"'{printable(str(text), longest=_LONGEST_QUOTE)}'"


class BenchctlError(Exception):
    """The root. `exit_code` is what the command returns; `advice` says what to do about it.

    `run_folder` is where a run that this has ended keeps what it had measured; None where no run was begun.
    """

    exit_code = 5
    run_folder: Path | None = None

    def __init__(self, message: str, *, advice: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.advice = advice


@dataclass(frozen=True)
class Problem:
    """One thing wrong in a document: where (line and column, from 1), what was found, what would be right.

    `source_line` is that line of the file, if it can be shown.
    """

    file: str
    line: int
    column: int
    message: str
    source_line: str = ""

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}: {self.message}"


class DocumentError(BenchctlError):
    """A document is wrong; `problems` lists everything wrong in it, in the order of the file."""

    exit_code = 2

    def __init__(self, problems: Sequence[Problem]) -> None:
        super().__init__("\n".join(str(problem) for problem in problems))
        self.problems = tuple(problems)


class UsageError(BenchctlError):
    """An option, a file name or a combination of them is wrong."""

    exit_code = 2


class PreflightRefused(BenchctlError):
    """The run was refused and nothing was energised: each hazard gives the reason in figures."""

    exit_code = 3

    def __init__(self, hazards: Sequence[str]) -> None:
        super().__init__("\n".join(hazards))
        self.hazards = tuple(hazards)


class LimitTripped(BenchctlError):
    """A limit was passed, or could not be read, which counts as passed."""

    exit_code = 4

    def __init__(self, limit: str, value: float | None, unit: str, time_s: float, reason: str) -> None:
        super().__init__(reason)
        self.limit = limit
        self.value = value
        self.unit = unit
        self.time_s = time_s


class RequirementFailed(BenchctlError):
    """A `require` step did not hold, so the sequence ends as it asked to."""

    exit_code = 1


class GuardianLost(BenchctlError):
    """The run has no guardian any more, so it must not go on."""


class OperatorStop(BenchctlError):
    """A person asked the run to end."""

    exit_code = 6


class ArchiveError(BenchctlError):
    """The run folder cannot be written or read."""


class ClusterError(BenchctlError):
    """The computers that were to do a part of the work went away."""


class MeasurementError(BenchctlError):
    """A record cannot give the figure asked of it; the message says what is wrong with the record."""


class ClippedRecord(MeasurementError):
    """The oscilloscope's converter was at the end of its range, so peaks and power would be guesses."""


class UnreadableRecord(MeasurementError):
    """The record holds values that are not numbers."""


class RecordTooShort(MeasurementError):
    """The record holds fewer cycles, samples or repetitions than the figure needs."""


class SampledTooSlowly(MeasurementError):
    """The band edge asked for lies beyond half the sample rate."""


class SilentRecord(MeasurementError):
    """No signal in the record is larger than the converter's steps."""


class WrongFrequency(MeasurementError):
    """The record does not hold the tone that the generator was set to."""


class ProtectionNoticed(MeasurementError):
    """The amplifier went silent while it was driven; the journal has the power, temperature and voltage."""


class PartNotMeasured(MeasurementError):
    """Some of what a step measures gave no figures; the figures of the rest are in the journal."""


class BurstNotFound(MeasurementError):
    """The record holds no burst, a burst of another length, or one cut off by its edge."""


class InstrumentError(BenchctlError):
    """An instrument failed; `instrument` is its name in the bench file, `address` where it was reached."""

    def __init__(self, message: str, *, instrument: str = "", address: str = "", advice: str = "") -> None:
        place = f"{instrument} at {address}: " if instrument else ""
        super().__init__(place + message, advice=advice)
        self.instrument = instrument
        self.address = address


class LinkError(InstrumentError):
    """The link failed, so it is not known what the instrument did with the last command."""


class NotConnected(LinkError):
    """Nothing answers at the address."""


class ConnectionLost(LinkError):
    """The peer closed or reset the link."""


class NoAnswer(LinkError):
    """No whole answer came in the time allowed."""


class GarbledAnswer(InstrumentError):
    """An answer came that does not fit the question."""


class NoRecord(InstrumentError):
    """The oscilloscope took no whole record in the time allowed: no trigger came."""


class SettingsLost(InstrumentError):
    """The instrument was switched off and on, so the run's settings are lost."""


class InstrumentReports(InstrumentError):
    """The instrument's error queue held an error: SCPI number and text."""

    def __init__(self, code: int, text: str, *, instrument: str = "", address: str = "") -> None:
        text = printable(text, longest=_LONGEST_REPORT)
        super().__init__(f'reports error {code}, "{text}"', instrument=instrument, address=address)
        self.code = code
        self.text = text


class NotAcknowledged(InstrumentError):
    """The instrument answers a message with something else than what acknowledges it."""


class SettingRefused(InstrumentError):
    """A setting reads back with another value than was sent."""


class InstrumentsDisagree(InstrumentError):
    """Two instruments show one quantity so differently that one of them is wrong, or one shows a physically impossible
    value."""


class SettingChanged(InstrumentError):
    """A confirmed setting has changed, and the run did not change it."""


class NotConfirmedOff(InstrumentError):
    """A run has ended, and an output is not known to be off; the message says what to do by hand."""
