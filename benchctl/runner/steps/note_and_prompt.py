"""note and prompt: what is written for a person, and what is asked of one."""

from __future__ import annotations

from benchctl.documents.sequence_file.steps import Note, Prompt
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.state import ExpectedState
from benchctl.runner.expected.worst_case import WorstCase

# A person turns a control and comes back; nobody knows, so it is not counted.
HANDS_S = 0.0


def perform_note(step: Note, run: Run) -> None:
    """Into the journal and onto the terminal."""
    run.note(step.text)


def perform_prompt(step: Prompt, run: Run) -> None:
    """Nothing drives the amplifier while hands are near it; what is answered goes on record."""
    if run.bench.has("generator"):
        mute(run)
    run.observer.hands_needed(step.request)
    answers = {name: run.observer.answer(name) for name in step.record}
    run.recorder.hands(step.request, answers)


def worst_case_note(_step: Note, _state: ExpectedState) -> WorstCase:
    return WorstCase(duration_s=0.0)


def worst_case_prompt(step: Prompt, state: ExpectedState) -> WorstCase:
    state.level = None
    if state.unattended:
        state.hazard(
            f"a person must act ({step.request}), and nobody is present in an unattended run; "
            "be present, or leave the step out"
        )
    return WorstCase(duration_s=HANDS_S)
