"""The zero of each input on each range, as the records of zeros have it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchctl.archive.captures import load_capture
from benchctl.archive.drift.equipment import Equipment
from benchctl.archive.drift.value import Reference, ReferenceValue
from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import zeros_of_event
from benchctl.archive.journal.events import ZEROS
from benchctl.archive.journal.journal import Event
from benchctl.errors import ArchiveError
from benchctl.measure.agreement.reliance import ZERO
from benchctl.measure.budget.zero import half_step, stated_limit
from benchctl.measure.uncertainty import Accuracy
from benchctl.quantity import render


def zero_values(folder: RunFolder, events: Sequence[Event], equipment: Equipment) -> Iterator[ReferenceValue]:
    """Of the first record of zeros of the run. A record that cannot be read gives none; `verify` tells of it."""
    event = next((event for event in events if event["event"] == ZEROS), None)
    if event is None:
        return
    try:
        record = load_capture(folder.inside(event["file"]))
    except ArchiveError:
        return
    traces = {(name.partition(" of ")[2], trace.scale): trace for name, trace in record.traces.items()}
    for signal, zeros in zeros_of_event(event, record).items():
        accuracies = [Accuracy(**each) for each in event["accuracy"].get(signal, ())]
        for zero in zeros:
            trace = traces[signal, zero.scale]
            what = f"zero of {signal} on the range of ±{render(_range(trace.full_scale), trace.unit, digits=2)}"
            reference = Reference("zero", what, trace.unit, equipment.named("oscilloscope"), ZERO)
            allowed = stated_limit(accuracies, trace.full_scale) + half_step(trace.full_scale, event["bits"])
            yield ReferenceValue(reference, zero.value, allowed, equipment.phase(["oscilloscope"], [signal]))


def _range(full_scale: float) -> float:
    return full_scale / 2.0
