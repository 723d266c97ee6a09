"""measure_crosstalk: each input driven alone in turn, the others terminated, and what shows at their outputs."""

from __future__ import annotations

from dataclasses import replace

from benchctl.documents.bench_file.sight import sees_outputs_together
from benchctl.documents.sequence_file.measuring_steps import MeasureCrosstalk
from benchctl.errors import MeasurementError
from benchctl.measure.analyses.crosstalk_figures import CrosstalkContext
from benchctl.measure.signal.record import OUTPUT, Capture
from benchctl.runner.acting.drive import RELAY_S, connected_load_ohm
from benchctl.runner.acting.inputs import feed, hazards_of_driving_alone
from benchctl.runner.acting.levels import level_in_v
from benchctl.runner.acting.records import record_taking
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.levels import QUIET
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase
from benchctl.runner.steps import stepped_sine


def perform(step: MeasureCrosstalk, run: Run) -> None:
    """A stepped sine for each channel; the inputs are left as the sequence has set them."""
    load_ohm = connected_load_ohm(run)
    frequencies = stepped_sine.frequencies_hz(step)
    level_v = level_in_v(run, step.level or QUIET, load_ohm)
    quiet_v = record_taking.quiet_peak_v(run.files.amplifier)
    captures: dict[str, Capture] = {}
    driven: dict[str, str] = {}
    tones_hz: dict[str, float] = {}
    for channel in run.seen:
        feed(run, (channel,))
        quiet = {signal: quiet_v for signal in record_taking.outputs(run) if signal != OUTPUT + channel}
        try:
            taken = stepped_sine.sweep(run, frequencies, level_v, record_taking.outputs(run), quiet)
        except MeasurementError:  # the run goes on, and every other step wants all inputs driven
            feed(run)
            raise
        for role, frequency_hz in stepped_sine.tones_hz(frequencies).items():
            own_role = f"{channel} driven, {role}"
            captures[own_role] = taken[role]
            driven[own_role], tones_hz[own_role] = channel, frequency_hz
    feed(run)
    context = CrosstalkContext(driven=driven, tones_hz=tones_hz, **run.accuracies())
    run.analyse("crosstalk", captures, {}, context, step.expect)


def worst_case(step: MeasureCrosstalk, state: ExpectedState) -> WorstCase:
    if len(state.amplifier.channels) < 2:
        state.hazard("an amplifier of one channel has no other to leak into")
    elif not sees_outputs_together(state.bench, state.amplifier):
        state.hazard(
            "two outputs must be seen at once, the driven one and one beside it, and this bench sees one at a time"
        )
    state.hazards += hazards_of_driving_alone(state)
    frequencies = stepped_sine.frequencies_hz(step)
    if not frequencies:
        state.hazard(stepped_sine.too_few_in_words(step, frequencies))
        return WorstCase(duration_s=0.0)
    once = stepped_sine.worst_case_sweep(state, frequencies, step.level or QUIET)
    channels = len(state.amplifier.channels)
    return replace(once, duration_s=channels * (once.duration_s + RELAY_S) + RELAY_S)
