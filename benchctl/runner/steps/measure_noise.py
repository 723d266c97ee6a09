"""measure_noise: the noise at the outputs while nothing drives the amplifier."""

from __future__ import annotations

from collections.abc import Sequence

from benchctl.documents.sequence_file.measuring_steps import MeasureNoise
from benchctl.measure.analyses.noise_figures import NOISE, OFF, NamedLine, NoiseContext, strongest_lines
from benchctl.measure.noise.weighting import AUDIO_BAND_HZ
from benchctl.measure.signal.record import OUTPUT
from benchctl.quantity import render
from benchctl.runner.acting.drive import connected_load_ohm, mute
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.records.own_noise import noise_record, own_noise_like
from benchctl.runner.acting.records.record_check import refuse_coarse_record
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase

# What a tone before it left in coupling capacitors has gone (common practice).
QUIET_S = 0.5
# The highest of a long record lies above that of a short one: 5 against 4 standard deviations of noise.
HIGHER = 1.25
# Part of the noise power from which on hum is told to be most of it.
HUMS = 0.5


def perform(step: MeasureNoise, run: Run) -> None:
    """One long record of all outputs, undriven, on the finest range that shows it."""
    load_ohm = connected_load_ohm(run)
    mute(run)
    run.wait(QUIET_S)
    record = noise_record(step, run.files.bench)
    peaks = _peaks(run)
    run.bench.oscilloscope.forget_ranges()
    capture = record_taking.take(run, NOISE, record, 0.0, record_taking.outputs(run), peaks)
    off, unknown = own_noise_like(run, capture)
    rating = run.files.amplifier.rating(load_ohm)
    context = NoiseContext(
        load_ohm=load_ohm,
        rated_w=rating.power_w if rating is not None else None,
        bits=run.bench.oscilloscope.bits,
        own_unknown=unknown,
        **run.accuracies(),
    )
    captures = {NOISE: capture} if off is None else {NOISE: capture, OFF: off}
    figures = run.analyse("noise", captures, {}, context, step.expect)
    noise_v = {figure.channel: figure.value for figure in figures if figure.name == "output_noise"}
    for channel in captures[NOISE].channels:
        lines = strongest_lines(captures, channel, context)
        _tell_lines(run, channel, lines)
        _tell_hum(run, channel, lines, noise_v[channel])


def _peaks(run: Run) -> dict[str, float]:
    """What each output shows in a short record."""
    look = record_taking.take(run, "noise look", record_taking.idle_record(), 0.0, record_taking.outputs(run))
    return {signal: HIGHER * trace.peak for signal, trace in look.traces.items()}


def _tell_lines(run: Run, channel: str, lines: Sequence[NamedLine]) -> None:
    if lines:
        said = [f"{render(each.frequency_hz, 'Hz')}{f' ({each.in_words})' if each.in_words else ''}" for each in lines]
        run.note(f"strongest lines in the noise of {OUTPUT}{channel}: {', '.join(said)}")


def _tell_hum(run: Run, channel: str, lines: Sequence[NamedLine], noise_v: float) -> None:
    """A generator whose output is off may leave the input open, and an open input hums."""
    hum = sum(each.line.square for each in lines if each.name)
    if hum > HUMS * noise_v**2:
        run.note(
            f"hum is most of the noise of {OUTPUT}{channel}. The generator's output is off meanwhile, and an input "
            "whose cable hangs open hums: put a shorting plug into the input and measure again to see what the "
            "amplifier makes"
        )


def worst_case(step: MeasureNoise, state: ExpectedState) -> WorstCase:
    state.level = None
    record = noise_record(step, state.bench)
    refuse_coarse_record(state, record, max(AUDIO_BAND_HZ), "leave the step out")
    records = (record_taking.idle_record(), record)
    asking_s = sum(record_taking.lasts_s(each, state.bench) + state.asking_s() for each in records)
    return WorstCase(duration_s=QUIET_S + asking_s)
