"""measure_response and measure_filter: a sine stepped over frequencies, and what its gains show."""

from __future__ import annotations

from benchctl.documents.sequence_file.measuring_steps import MeasureFilter, MeasureResponse
from benchctl.measure.analyses.response_figures import ResponseContext
from benchctl.measure.budget.figure import Figure
from benchctl.quantity import render
from benchctl.runner.acting.drive import connected_load_ohm
from benchctl.runner.acting.inputs import feed, worst_case_feed
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.levels import QUIET
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps import stepped_sine

# Of 24 dB an octave in third-octaves, about so many records (tried on the simulated bench).
RETAKEN = 0.25


def perform_response(step: MeasureResponse, run: Run) -> None:
    """Gain, phase and band edges."""
    figures = _perform(step, run, "response")
    edged = {figure.channel for figure in figures if figure.name == "upper_band_edge"}
    silent = [channel for channel in run.seen if channel not in edged]
    if silent:
        at = "everywhere" if step.reference_hz is None else f"at the reference of {render(step.reference_hz, 'Hz')}"
        run.note(
            f"no band edges of {' and '.join(silent)}: no more than noise {at}; "
            "set `reference` to a frequency in the pass band"
        )


def perform_filter(step: MeasureFilter, run: Run) -> None:
    """Gain, corner, slope and order."""
    _perform(step, run, "filter")


def _perform(step: MeasureResponse | MeasureFilter, run: Run, analysis: str) -> list[Figure]:
    """Step through the frequencies, a record of all outputs at each."""
    feed(run)
    load_ohm = connected_load_ohm(run)
    frequencies = stepped_sine.frequencies_hz(step)
    level_v = level_in_v(run, step.level or QUIET, load_ohm)
    captures = stepped_sine.sweep(run, frequencies, level_v, record_taking.driven_outputs(run))
    context = ResponseContext(
        tones_hz=stepped_sine.tones_hz(frequencies),
        level_v=level_v,
        reference_hz=step.reference_hz,
        **run.accuracies(),
    )
    return run.analyse(analysis, captures, {}, context, step.expect)


def worst_case(step: MeasureResponse | MeasureFilter, state: ExpectedState) -> WorstCase:
    """A filter takes the output through ranges of the oscilloscope, and some records are taken twice."""
    worst_case_feed(state, None)
    frequencies = stepped_sine.frequencies_hz(step)
    if len(frequencies) < 2:
        state.hazard(stepped_sine.too_few_in_words(step, frequencies))
        return WorstCase(duration_s=0.0)
    retaken = RETAKEN if isinstance(step, MeasureFilter) else 0.0
    return stepped_sine.worst_case_sweep(state, frequencies, step.level or QUIET, retaken=retaken)
