"""measure_polarity: which outputs are inverted, and the phase between outputs, from tones at a small level."""

from __future__ import annotations

from benchctl.documents.model.level import Level
from benchctl.documents.sequence_file.signal_steps import MeasurePolarity
from benchctl.measure.analyses.polarity_figures import PolarityContext, inverted_in_words, polarity_tone_hz
from benchctl.runner.acting.contexts import skew_s
from benchctl.runner.acting.drive import connected_load_ohm
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps import stepped_sine

# 20 dB below rated power: enough for a phase, and nothing gets warm.
SMALL = Level(0.01, "rated")


def perform(step: MeasurePolarity, run: Run) -> None:
    """A record of all outputs at each frequency; what is inverted is said."""
    feed(run)
    load_ohm = connected_load_ohm(run)
    level_v = level_in_v(run, step.level or SMALL, load_ohm)
    captures = stepped_sine.sweep(run, step.frequencies_hz, level_v, record_taking.driven_outputs(run))
    context = PolarityContext(
        tones_hz=stepped_sine.tones_hz(step.frequencies_hz),
        level_v=level_v,
        polarity_hz=polarity_tone_hz(step.frequencies_hz),
        skew_s=skew_s(run.files.bench),
        **run.accuracies(),
    )
    figures = run.analyse("polarity", captures, {}, context, step.expect)
    for text in inverted_in_words(figures):
        run.note(text)
    told = {figure.channel for figure in figures if figure.name == "polarity"}
    for channel in run.seen:
        if channel in run.fed and channel not in told:
            run.note(
                f"no polarity of output {channel}: it is silent, or a filter turns its phase; try another frequency"
            )


def worst_case(step: MeasurePolarity, state: ExpectedState) -> WorstCase:
    worst_case_feed(state, None)
    return stepped_sine.worst_case_sweep(state, sorted(step.frequencies_hz), step.level or SMALL)
