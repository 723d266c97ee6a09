"""note and prompt: what is written for a person, and what is asked of one."""

from __future__ import annotations

from benchctl.documents.sequence_file.steps import Note, Prompt
from benchctl.runner.acting.drive import mute
from benchctl.runner.acting.run import Run
from benchctl.runner.expected.worst_case import Forecast, Outlook

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


def foresee_note(_step: Note, _outlook: Outlook) -> Forecast:
    return Forecast(duration_s=0.0)


def foresee_prompt(step: Prompt, outlook: Outlook) -> Forecast:
    outlook.level_v = None
    if outlook.unattended:
        outlook.hazard(
            f"hands are needed ({step.request}), and nobody is there in an unattended run; "
            "be there, or leave the step out"
        )
    return Forecast(duration_s=HANDS_S)
