"""What a further step costs, as preflight reckons it: minutes, and by how much it warms the heatsink."""

from __future__ import annotations

import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.reader import load_sequence
from benchctl.documents.sequence_file.steps import Note
from benchctl.further.writing import FURTHER
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.expected.expected_step import ExpectedStep
from benchctl.runner.plan import expand


@dataclass(frozen=True)
class Cost:
    """Of the further step alone; `whole_s`: of the whole sequence. `hazards`: why preflight refuses it."""

    duration_s: float
    warms_k: float
    whole_s: float
    hazards: tuple[str, ...]


def cost_of(text: str, amplifier: Amplifier, bench: Bench) -> Cost:
    """By going through a written sequence, whose further steps each follow a note."""
    checked = _checked(text, amplifier, bench)
    further = list(_further(checked))
    return Cost(
        duration_s=sum(step.duration_s for step in further),
        warms_k=sum(max(step.hottest_c - step.heatsink.now_c, 0.0) for step in further),
        whole_s=checked.expected_s,
        hazards=checked.hazards,
    )


def _checked(text: str, amplifier: Amplifier, bench: Bench) -> Preflight:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "sequence.yaml"
        path.write_text(text, encoding="utf-8")
        files = Files(load_sequence(path, amplifier), bench, amplifier)
    return preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)


def _further(checked: Preflight) -> Sequence[ExpectedStep]:
    """From each note to the next, or to where the run goes back to what it has measured before."""
    found, is_further = [], False
    for planned, expected in zip(checked.plan, checked.expected_steps, strict=True):
        if isinstance(planned.step, Note):
            is_further = planned.step.text.startswith(FURTHER)
        elif is_further:
            found.append(expected)
    return found
