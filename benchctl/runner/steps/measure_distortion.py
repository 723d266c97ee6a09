"""measure_distortion: distortion against frequency at a low level, bounded where the bench's own may be as large."""

from __future__ import annotations

from collections.abc import Sequence

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.measuring_steps import MeasureDistortion
from benchctl.measure.analyses.distortion_figures import DistortionContext
from benchctl.measure.budget.figure import Figure
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.quantity import render
from benchctl.runner.acting.drive import connected_load_ohm, set_frequency, tone
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps import stepped_sine
from benchctl.runner.steps.find_clean_level import SETTLE_S, distortion_band_hz, refuse_coarse_tone

ONE_WATT = Level(1.0, "watts")


def perform(step: MeasureDistortion, run: Run) -> None:
    """Step through the frequencies, a record of the driven outputs at each."""
    feed(run)
    load_ohm = connected_load_ohm(run)
    frequencies = stepped_sine.frequencies_hz(step)
    level_v = level_in_v(run, step.level or ONE_WATT, load_ohm)
    tones_hz = stepped_sine.tones_hz(frequencies)
    captures: dict[str, Capture] = {}
    with stepped_sine.left_as_it_was(run):
        for number, (role, frequency_hz) in enumerate(tones_hz.items(), start=1):
            captures[role] = _take(run, role, frequency_hz, level_v)
            run.observer.progress(f"{role}, {number} of {len(tones_hz)}")
    generator_distortion, linearity = own_distortions(run.files.bench)
    context = DistortionContext(
        tones_hz=tones_hz,
        bands_hz={role: distortion_band_hz(frequency_hz) for role, frequency_hz in tones_hz.items()},
        generator_distortion=generator_distortion,
        linearity=linearity,
        **run.accuracies(),
    )
    figures = run.analyse("distortion", captures, {}, context, step.expect)
    _tell_silent(run, figures, frequencies)


def _tell_silent(run: Run, figures: Sequence[Figure], frequencies: Sequence[float]) -> None:
    """Where an output has no clear tone, there is no figure of it."""
    for channel in (signal.removeprefix(OUTPUT) for signal in record_taking.driven_outputs(run)):
        told = {figure.frequency_hz for figure in figures if figure.channel == channel}
        if silent := [frequency_hz for frequency_hz in frequencies if frequency_hz not in told]:
            at = " to ".join(render(each, "Hz") for each in dict.fromkeys((min(silent), max(silent))))
            run.note(
                f"no distortion of {channel} at {len(silent)} of {len(frequencies)} frequencies, {at}: the output has "
                "no clear tone there; is a filter on?"
            )


def _take(run: Run, role: str, frequency_hz: float, level_v: float) -> Capture:
    """On the finest range: a converter's steps and its bends are parts of the range."""
    set_frequency(run, frequency_hz)
    tone(run, level_v)
    run.wait(max(SETTLE_S, stepped_sine.SETTLE_CYCLES / frequency_hz))
    run.bench.oscilloscope.forget_ranges()
    record = record_taking.steady_record(frequency_hz)
    name = f"{run.planned.step.kind} {role}"
    return record_taking.take(run, name, record, level_v, record_taking.driven_outputs(run))


def own_distortions(bench: Bench) -> tuple[float, float]:
    """What the generator may distort, and by what part of its range the oscilloscope may be off a straight line."""
    generator, oscilloscope = bench.instruments.generator, bench.instruments.oscilloscope
    linearity = oscilloscope.linearity if oscilloscope is not None else 0.0
    return generator.ratings.distortion if generator is not None else 0.0, linearity


def worst_case(step: MeasureDistortion, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, None)
    state.level = None
    frequencies = stepped_sine.frequencies_hz(step)
    if not frequencies:
        state.hazard(stepped_sine.too_few_in_words(step, frequencies))
        return WorstCase(duration_s=0.0)
    for frequency_hz in (min(frequencies), max(frequencies)):
        refuse_coarse_tone(state, frequency_hz)
    generator = state.bench.instruments.generator
    if generator is not None and max(frequencies) > generator.ratings.frequency_hz:
        state.hazard(
            f"{render(max(frequencies), 'Hz')} is more than the generator gives; "
            f"stay within {render(generator.ratings.frequency_hz, 'Hz')}"
        )
    asking_s = state.asking_s() + state.pace.set_s + record_taking.FETCH_S
    records = [record_taking.steady_record(frequency_hz) for frequency_hz in frequencies]
    duration_s = sum(record_taking.lasts_s(record, state.bench) + asking_s for record in records)
    duration_s += sum(max(SETTLE_S, stepped_sine.SETTLE_CYCLES / frequency_hz) for frequency_hz in frequencies)
    return WorstCase(duration_s=duration_s, **state.tone(step.level or ONE_WATT, for_s=duration_s))
