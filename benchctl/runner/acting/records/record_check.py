"""Whether the oscilloscope can take the records that a step needs, asked before anything is switched on."""

from __future__ import annotations

import math

from benchctl.documents.bench_file.instruments import OscilloscopeRatings
from benchctl.instruments.oscilloscope.record import Record
from benchctl.quantity import render, render_time
from benchctl.runner.acting.records.record_taking import longest_samples, within_ratings
from benchctl.runner.expected.state import ExpectedState

# More samples than this in a period of the highest frequency that is to be seen (Nyquist and Shannon).
SAMPLES_A_PERIOD = 2.0
# What is recommended is that much better than the least.
_ROOM = 2.0


def refuse_coarse_record(state: ExpectedState, record: Record, band_hz: float, instead: str = "") -> None:
    """Add a hazard if a record of this length has too few samples to show a band; `instead`: what to change in the
    sequence.
    """
    oscilloscope = state.bench.instruments.oscilloscope
    if oscilloscope is None:
        return
    ratings, needed_hz = oscilloscope.ratings, SAMPLES_A_PERIOD * band_hz
    rate_hz = within_ratings(record, state.bench).samples / record.span_s
    if rate_hz <= needed_hz:
        state.hazard(
            f"the oscilloscope takes a record of {render_time(record.span_s)} with {render(rate_hz, 'Sa/s')}, and "
            f"signals up to {render(band_hz, 'Hz')} need more than {render(needed_hz, 'Sa/s')}; "
            f"{instead or 'use another frequency'}, "
            f"or an oscilloscope with {_needed_in_words(ratings, record, band_hz, longest_samples(state.bench))}"
        )


def longest_record_s(state: ExpectedState, band_hz: float) -> float:
    """How long a record can be that still shows a band, with a tenth to spare."""
    oscilloscope = state.bench.instruments.oscilloscope
    if oscilloscope is None or oscilloscope.ratings.sample_rate_hz <= SAMPLES_A_PERIOD * band_hz:
        return math.inf
    return 0.9 * (longest_samples(state.bench) or math.inf) / (SAMPLES_A_PERIOD * band_hz)


def _needed_in_words(ratings: OscilloscopeRatings, record: Record, band_hz: float, longest: int | None) -> str:
    """What it lacks, and how much of that would do."""
    wanted_hz = _ROOM * SAMPLES_A_PERIOD * band_hz
    if ratings.sample_rate_hz <= SAMPLES_A_PERIOD * band_hz:
        return f"a sample rate of {render(wanted_hz, 'Sa/s')} ({render(ratings.sample_rate_hz, 'Sa/s')} now)"
    return f"a memory of {math.ceil(wanted_hz * record.span_s)} samples ({longest} now)"
