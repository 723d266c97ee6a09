"""The records of a run as sound files in volts, each with a file beside it that says what it is."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import PurePosixPath

from benchctl.archive.captures import load_capture
from benchctl.archive.folder import CAPTURE_SUFFIX
from benchctl.archive.journal.entries import conditions_of
from benchctl.archive.journal.events import CAPTURE
from benchctl.archive.tables.run_identity import run_identity_of
from benchctl.errors import BenchctlError
from benchctl.export.wave import wave_file, whole_rate_hz
from benchctl.measure.conditions import NOT_ON_RECORD, Conditions
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.report.reading.run_record import RunRecord

FORMAT = "benchctl sound 1"
NO_OUTPUT = "it has no output of the amplifier"


class Sounds:
    """The sound files of one run. `left_out` says which records have none, and why."""

    def __init__(self, run_record: RunRecord) -> None:
        self._record = run_record
        self._told = {str(event["file"]): event for event in run_record.of_kind(CAPTURE)}
        self.left_out: dict[str, str] = {}

    def files(self) -> Iterator[tuple[str, bytes]]:
        """Name, with the run folder's, and content of each file, one record after the other."""
        for file in self._record.folder.capture_files():
            try:
                capture = load_capture(self._record.folder.inside(file))
                if capture.channels:
                    yield from self._of(capture)
                else:
                    self.left_out[file] = NO_OUTPUT
            except BenchctlError as error:
                self.left_out[file] = error.message

    def _of(self, capture: Capture) -> Iterator[tuple[str, bytes]]:
        volts = [capture.traces[OUTPUT + channel].values() for channel in capture.channels]
        stem, about = f"{self._record.name}/{self._stem(capture.name)}", self._about(capture)
        trigger = round(-capture.start_s / capture.interval_s)
        yield f"{stem}.wav", wave_file(volts, 1.0 / capture.interval_s, comment=_comment(about), cue=trigger)
        yield f"{stem}.json", (json.dumps(about, indent=2, ensure_ascii=False) + "\n").encode("utf-8")

    def _stem(self, name: str) -> str:
        """The name says what a player does not: that the numbers are volts, and whether they were measured."""
        mark = ".simulated" if self._record.simulation.is_simulated else ""
        return f"{PurePosixPath(name).name.removesuffix(CAPTURE_SUFFIX)}{mark}.volts"

    def _about(self, capture: Capture) -> dict[str, object]:
        identity, simulation = run_identity_of(self._record.events), self._record.simulation
        channels, rate_hz = capture.channels, 1.0 / capture.interval_s
        return {
            "format": FORMAT,
            "what": _reality_in_words(simulation.is_simulated),
            "folder": self._record.name,
            "run": identity.run,
            "amplifier": identity.amplifier,
            "serial": identity.serial,
            "simulated": simulation.is_simulated,
            "simulated_instruments": list(simulation.simulated),
            "capture": capture.name,
            "unit": "V",
            "channels": list(channels),
            "clipped": [channel for channel in channels if capture.traces[OUTPUT + channel].is_clipped],
            "samples": capture.samples,
            "sample_rate_hz": rate_hz,
            "sample_rate_in_file_hz": whole_rate_hz(rate_hz),
            "first_sample_s": capture.start_s,
            "interval_s": capture.interval_s,
            "trigger_at_sample": 0.0 - capture.start_s / capture.interval_s,
            "taken_s": capture.taken_s,
            "conditions": asdict(self._conditions(capture.name)),
            "signals_left_out": [name for name in capture.traces if name.removeprefix(OUTPUT) not in channels],
        }

    def _conditions(self, file: str) -> Conditions:
        return conditions_of(self._told[file]) if file in self._told else NOT_ON_RECORD


def _comment(about: dict[str, object]) -> str:
    """In the sound file itself, for it may lose the file beside it."""
    said = [str(about["what"]), "Values are volts at the amplifier's outputs: 1.0 is 1 V."]
    said += [f"Channels: {_listed(about['channels'])}."]
    if about["clipped"]:
        said += [f"Clipped by the oscilloscope, so the peaks are not known: {_listed(about['clipped'])}."]
    return " ".join([*said, f"{about['amplifier']}, {about['capture']} of {about['folder']}."])


def _reality_in_words(simulated: bool | None) -> str:
    """Whether it is a measurement."""
    if simulated is None:
        return "Whether this was measured or simulated is not on record."
    return "SIMULATED, no measurement." if simulated else "Measured."


def _listed(names: object) -> str:
    return " ".join(names) if isinstance(names, list) else ""
