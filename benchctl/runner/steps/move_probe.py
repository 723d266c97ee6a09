"""move_probe: have a person put the probes onto other outputs, where one probe serves several of them."""

from __future__ import annotations

from benchctl.documents.sequence_file.bench_steps import MoveProbe
from benchctl.documents.text.words import listed, outputs_in_words
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase


def perform(step: MoveProbe, run: Run) -> None:
    """Nothing is asked where they are there already."""
    if run.seen != step.outputs:
        move_to(step.outputs, run)


def move_to(channels: tuple[str, ...], run: Run) -> None:
    """Without a signal; whether the probe sits well shows in the look at a low level before the next drive."""
    mute(run)
    wirings = run.files.bench.signals.outputs
    on = [f"oscilloscope channel {wirings[channel].oscilloscope} onto output {channel}" for channel in channels]
    state = "on, without a signal" if run.conditions.supply_set_v is not None else "off"
    request = f"Put the probe of {listed(on)}. The amplifier is {state}"
    run.observer.hands_needed(request)
    run.hands.probe(channels)
    run.recorder.hands(request, {})
    run.seen, run.has_looked, run.proved.paths = channels, False, False


def worst_case(step: MoveProbe, state: ExpectedState) -> WorstCase:
    state.level, state.has_looked, state.seen = None, False, step.outputs
    if state.unattended:
        state.hazard(
            f"a hand moves the probe to {outputs_in_words(step.outputs)}, and nobody is present in an unattended run; "
            "be present, or leave one output under 'signals' and say that the others are not measured, "
            "'unwatched: [output B]'"
        )
    return WorstCase(duration_s=0.0)
