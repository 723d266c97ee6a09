"""The records that a further step would make: at what instants, and with what noise. Their values do not matter."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from benchctl.archive.captures import load_capture
from benchctl.archive.folder import RunFolder
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.fit.reading.carrier import clear_of
from benchctl.fit.reading.items import CURRENT, VOLTAGE, Instants, Item, Samples, Shape, Take
from benchctl.fit.reading.taking import RunTaken
from benchctl.fit.reading.thinning import (
    POINTS,
    POINTS_OF_HELD,
    burst_instants,
    noise_of_a_mean,
    noise_of_a_sample,
    spans,
    steady_instants,
)
from benchctl.fit.reading.unlike import spread_of
from benchctl.further.measurement import Measurement
from benchctl.instruments.oscilloscope.record import Record
from benchctl.measure.signal.record import OUTPUT, Capture, Trace
from benchctl.measure.uncertainty import LoadResistance
from benchctl.runner.acting.contexts import load_resistances
from benchctl.runner.acting.records.record_taking import repetition_record, steady_record, within_ratings
from benchctl.runner.steps.find_clean_level import low_pass_hz

EVERY_S = 0.5
QUIET = 0.1
"""As the written sequence has them: from burst to burst, and the part of the level between them."""

BURST_LEVELS = (1.05, 1.1)
"""Clean and full level of a burst over the clean level of a continuous tone, about (common practice)."""


@dataclass(frozen=True)
class Foreseeing:
    """What a run's own records say of those to come."""

    folder: RunFolder
    run: RunTaken
    bench: Bench

    @property
    def amplifier(self) -> Amplifier:
        """Of the run."""
        return self.run.amplifier

    def takes(self, asked: Measurement, level_v: float) -> Iterator[Take]:
        """The records of a step; `level_v`: the clean level of a continuous tone there."""
        if asked.kind == "idle":
            yield replace(self._like("rest"), name=asked.words, supply_v=asked.supply_v)
            return
        if asked.kind == "burst":
            # A single cycle has its clean and its full level in one.
            for part in BURST_LEVELS[: 1 if asked.cycles == 1 else 2]:
                yield self._tone(asked, level_v * part)
            return
        loads = self._loads(asked.load_ohm)
        yield replace(self._like("rest"), name=f"rest before {asked.words}", supply_v=asked.supply_v, loads=loads)
        yield self._tone(asked, asked.level_v or level_v)

    def _like(self, shape: str) -> Take:
        return next(take for take in self.run.takes if take.shape == shape)

    def _tone(self, asked: Measurement, level_v: float) -> Take:
        shape: Shape = "burst" if asked.kind == "burst" else "steady"
        tones = [take for take in self.run.takes if take.shape != "rest"]
        template = min(tones, key=lambda take: (take.shape != shape, abs(take.level_v - level_v)))
        traces = load_capture(self.folder.inside(template.file)).traces
        capture = self._blank(asked, traces)
        instants = self._instants(asked, capture)
        return replace(
            template,
            file="",
            name=asked.words,
            shape=shape,
            frequency_hz=asked.frequency_hz,
            level_v=level_v,
            is_searched=True,
            supply_v=asked.supply_v,
            driven=self.amplifier.channels,
            quiet=QUIET if shape == "burst" else 1.0,
            cycles=asked.cycles,
            loads=self._loads(asked.load_ohm),
            instants=instants,
            phases={channel: template.phases.get(channel, 0.0) for channel in self.amplifier.channels},
            items=dict(self._items(template, traces, capture, instants)),
        )

    def _loads(self, load_ohm: float) -> Mapping[str, LoadResistance]:
        known = next((take.loads for take in self.run.takes if _has(take, load_ohm)), None)
        return known or load_resistances(self.bench, self.amplifier.channels, load_ohm, None)

    def _record(self, asked: Measurement) -> Record:
        switching = self.amplifier.amplifier_class == "D"
        if asked.kind == "burst":
            return repetition_record(asked.frequency_hz, EVERY_S, switching=switching)
        return steady_record(asked.frequency_hz, switching=switching)

    def _blank(self, asked: Measurement, traces: Mapping[str, Trace]) -> Capture:
        """A record of the right length with nothing in it."""
        record = within_ratings(self._record(asked), self.bench)
        nothing = {
            signal: replace(trace, codes=np.zeros(record.samples, trace.codes.dtype), within=None)
            for signal, trace in traces.items()
        }
        return Capture("", -record.pretrigger_s, record.span_s / record.samples, nothing, 0.0)

    def _instants(self, asked: Measurement, capture: Capture) -> Instants:
        points = POINTS_OF_HELD if self.amplifier.rails == "regulated" else POINTS
        clear_s = clear_of(low_pass_hz(self.amplifier, asked.frequency_hz))
        if asked.kind == "burst":
            return burst_instants(capture, asked.frequency_hz, asked.cycles, clear_s, points)
        return steady_instants(capture, asked.frequency_hz, clear_s, points)

    def _items(
        self, template: Take, traces: Mapping[str, Trace], capture: Capture, instants: Instants
    ) -> Iterator[tuple[str, Item]]:
        """As noisy as in the record that the run has made under the most similar drive, and on its ranges."""
        meters = next((take.items for take in self.run.takes if take.shape == "steady"), template.items)
        for signal, item in {**meters, **template.items}.items():
            if signal.startswith(OUTPUT):
                noise = np.full(len(instants.sampled), float(np.median(item.noise)))
            elif signal not in (CURRENT, VOLTAGE):
                # A meter reads continuous tones only.
                if len(instants.after_s):
                    continue
                noise = item.noise
            else:
                noise = _noise_of_bins(traces[signal], capture, instants)
            yield signal, replace(item, values=np.zeros(len(noise)), noise=noise, spreads=None)


def _noise_of_bins(trace: Trace, capture: Capture, instants: Instants) -> Samples:
    noise = noise_of_a_sample(trace)
    spread = spread_of(np.zeros(1), trace.step)
    if not len(instants.after_s):
        return np.array([noise_of_a_mean(trace, noise, capture.samples, spread)])
    return np.array([noise_of_a_mean(trace, noise, stop - start, spread) for start, stop in spans(capture, instants)])


def _has(take: Take, load_ohm: float) -> bool:
    return bool(take.loads) and all(abs(each.nominal_ohm / load_ohm - 1.0) < 1e-3 for each in take.loads.values())
