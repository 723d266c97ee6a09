"""Run folders made without a bench: two analyses of a tone, as a run writes them; and what somebody changed in one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import entries_of
from benchctl.archive.recorder import Recorder
from benchctl.archive.tables.figures_csv import write_figures
from benchctl.archive.tables.run_identity import run_identity_of
from benchctl.clock import Clock
from benchctl.documents.model.criteria import Criterion
from benchctl.measure.analyses.by_step import ANALYSES
from benchctl.measure.analyses.context import ContinuousContext, IdleContext
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.conditions import Conditions
from benchctl.measure.signal.record import Capture, Trace
from benchctl.measure.uncertainty import Accuracy, LoadResistance
from tests.journals import read_events, write_events

IDLE = "captures/0001-idle.npz"
TONE = "captures/0002-continuous.npz"
SCOPE = (Accuracy(reading=0.005, range=0.001), Accuracy(reading=0.005))
READINGS = {"supply_current": [2.41, 2.39, 2.4], "supply_voltage": [14.4, 14.41], "heatsink": [31.0]}


def two_tones() -> Capture:
    """20 ms of 1 kHz, 10 V peak at A and 9 V peak at B, in 12-bit codes of 10 mV, with a small offset."""
    phase = 2.0 * np.pi * 1e3 * np.arange(2000) * 1e-5
    return Capture(
        name="Idle, channel A & B",
        start_s=-1e-3,
        interval_s=1e-5,
        traces={
            "output A": Trace(np.round(1000.0 * np.sin(phase) + 1).astype(np.int16), 0.01, 0.0, "V", -2048, 2047),
            "output B": Trace(np.round(900.0 * np.sin(phase)).astype(np.int16), 0.01, 0.02, "V", -2048, 2047),
        },
        taken_s=12.5,
    )


def measure_tone(folder: RunFolder, clock: Clock, tone: Capture) -> Path:
    """A finished run: idle and continuous power, with a capture each."""
    recorder = Recorder(folder, clock)
    record_tone(recorder, tone)
    recorder.finish()
    return folder.path


def record_tone(recorder: Recorder, tone: Capture) -> None:
    """The two analyses, into a run that goes on."""
    accuracy = {"output A": SCOPE, "output B": SCOPE}
    _measure(recorder, "idle", replace(tone, name="idle"), IdleContext(accuracy=accuracy))
    loads = {name: LoadResistance(nominal_ohm=4.0, measured_ohm=4.013, relative_uncertainty=0.002) for name in "AB"}
    context = ContinuousContext(accuracy=accuracy, frequency_hz=1e3, loads=loads)
    _measure(recorder, "continuous", replace(tone, name="continuous"), context)


def _measure(recorder: Recorder, analysis: str, capture: Capture, context: IdleContext) -> None:
    capture = recorder.keep(capture)
    recorder.figures(
        f"1 measure_{analysis}",
        analysis,
        captures={analysis: capture.name},
        readings=READINGS,
        context=context,
        conditions=Conditions(4.0, 1e3, 0.5, "set", 14.4, ("A", "B")),
        figures=ANALYSES[analysis].figures({analysis: capture}, READINGS, context),
    )


def change_journal(run: Path, change: Callable[[dict[str, Any]], None], event: int = -1) -> None:
    """Change one of the figures events in the journal, and figures.csv with it."""
    path = run / "journal.jsonl"
    events = read_events(path)
    change([told for told in events if told["event"] == "figures"][event])
    write_events(path, events)
    write_figures(RunFolder.open(run), entries_of(events), run_identity_of(events))


def change_figure(run: Path, figure_name: str, /, **fields: Any) -> None:
    """Change a figure of the last event."""

    def change(event: dict[str, Any]) -> None:
        next(figure for figure in event["figures"] if figure["name"] == figure_name).update(fields)

    change_journal(run, change)


def made_by(run: Path, method: int | None, **figure: Any) -> None:
    """As if an earlier or a later version had written the folder: its number, and a figure that came out otherwise."""

    def change(event: dict[str, Any]) -> None:
        event.pop("method")
        event.update({} if method is None else {"method": method})
        event["figures"][0].update(figure)

    for number in (0, 1):
        change_journal(run, change, number)


def held_against(run: Path, criteria: Mapping[str, Criterion], verdict: str) -> None:
    """As if figures of the last event had been held against these, and each of a channel had come out so."""

    def change(event: dict[str, Any]) -> None:
        event["criteria"] = {name: each.model_dump() for name, each in criteria.items()}
        for figure in event["figures"]:
            if figure["name"] in criteria and figure["channel"] != TOTAL:
                figure["verdict"] = verdict

    change_journal(run, change)
