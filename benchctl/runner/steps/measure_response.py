"""measure_response: gain and phase against frequency, and where gain is 3 dB down."""

from __future__ import annotations

from benchctl.documents.measuring_steps import MeasureResponse
from benchctl.measure.response_figures import ResponseContext
from benchctl.runner import exposure
from benchctl.runner.contexts import generator_accuracies
from benchctl.runner.drive import connected_load_ohm
from benchctl.runner.outlook import Forecast, Outlook
from benchctl.runner.run import Run
from benchctl.runner.steps import stepped_sine


def perform(step: MeasureResponse, run: Run) -> None:
    """Step through the frequencies, a record of all outputs at each."""
    load_ohm = connected_load_ohm(run)
    frequencies = _frequencies_hz(step)
    level_v = step.level_v or stepped_sine.quiet_level_v(run.files.amplifier, load_ohm)
    captures = stepped_sine.sweep(run, frequencies, level_v, exposure.outputs(run))
    context = ResponseContext(
        tones_hz=stepped_sine.tones_hz(frequencies),
        level_v=level_v,
        reference_hz=step.reference_hz,
        **generator_accuracies(run.files.bench),
        **run.accuracies(),
    )
    run.analyse("response", captures, {}, context, step.expect)


def foresee(step: MeasureResponse, outlook: Outlook) -> Forecast:
    frequencies = _frequencies_hz(step)
    if len(frequencies) < 2:
        outlook.hazard(f"there are {len(frequencies)} frequencies from {step.from_hz:g} Hz to {step.to_hz:g} Hz")
        return Forecast(duration_s=0.0)
    level_v = step.level_v or stepped_sine.quiet_level_v(outlook.amplifier, outlook.load_ohm or 4.0)
    return stepped_sine.foresee_sweep(outlook, frequencies, level_v)


def _frequencies_hz(step: MeasureResponse) -> tuple[float, ...]:
    return stepped_sine.frequencies_hz(step.from_hz, step.to_hz, step.per_octave)
