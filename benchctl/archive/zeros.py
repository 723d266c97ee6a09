"""Whether the zero that each capture has had subtracted is what the record of zeros of its part of the run tells."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

from benchctl.archive.captures import load_capture
from benchctl.archive.compare import Difference
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import zeros_of_event
from benchctl.archive.journal.events import CAPTURE, NEW_PARTS, ZEROS
from benchctl.archive.journal.journal import Event
from benchctl.errors import ArchiveError
from benchctl.measure.budget.zero import Zero, Zeros
from benchctl.measure.method import FIRST_METHOD, METHOD
from benchctl.measure.signal.record import Capture, Trace

# Another machine adds up a mean in another order.
_ROUNDING = 1e-9


@dataclass
class CheckedZeros:
    """The records of zeros among the captures, and where a capture's zero is none of them.

    `of_method` are the differences where another method computed the zeros."""

    records: set[str] = field(default_factory=set)
    differences: list[Difference] = field(default_factory=list)
    of_method: list[Difference] = field(default_factory=list)


def zeros_of_captures(folder: RunFolder, events: Sequence[Event]) -> CheckedZeros:
    """Compute the zeros of each part again, and hold those of its captures against them.

    A capture that cannot be read is a matter of its figures.
    """
    checked = CheckedZeros()
    zeros: Zeros = {}
    told = checked.differences
    for event in events:
        if event["event"] in NEW_PARTS:
            zeros = {}
        elif event["event"] == ZEROS:
            checked.records.add(event["file"])
            told = checked.differences if event.get("method", FIRST_METHOD) == METHOD else checked.of_method
            zeros = _of_record(folder, event, checked)
        elif event["event"] == CAPTURE and (capture := _loaded(folder, event["file"])) is not None:
            told += _differences(event["file"], capture, zeros)
    return checked


def _of_record(folder: RunFolder, event: Event, checked: CheckedZeros) -> Zeros:
    record = _loaded(folder, event["file"])
    if record is None:
        what = Difference(event["file"], "it", "a record of zeros", "cannot be read, so no zero can be computed again")
        checked.differences.append(what)
        return {}
    return zeros_of_event(event, record)


def _loaded(folder: RunFolder, file: str) -> Capture | None:
    try:
        return load_capture(folder.inside(file))
    except ArchiveError:
        return None


def _differences(file: str, capture: Capture, zeros: Zeros) -> Iterator[Difference]:
    known = [zero for of_signal in zeros.values() for zero in of_signal]
    for signal, trace in capture.traces.items():
        if trace.zero_limit is not None and not any(_is(zero, trace) for zero in zeros.get(signal, known)):
            yield Difference(
                f"{file}, {signal}", "zero", f"{trace.zero:.6g} {trace.unit}", "is none that the record of zeros tells"
            )


def _is(zero: Zero, trace: Trace) -> bool:
    limit = trace.zero_limit or 0.0
    return math.isclose(zero.value, trace.zero, rel_tol=_ROUNDING, abs_tol=_ROUNDING * trace.full_scale) and (
        math.isclose(zero.limit, limit, rel_tol=_ROUNDING, abs_tol=_ROUNDING * trace.full_scale)
    )
