"""One draw: run dry, fitted, and each quantity beside its true value."""

from __future__ import annotations

import pickle
import time
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from benchctl.errors import BenchctlError
from benchctl.fit.examination import Examination, examine
from benchctl.launch.run import run
from benchmarks.fits.drawing import Drawn, bench_of, drawn
from benchmarks.nobody import Nobody
from benchmarks.sequences.trials import ACCEPTED, documents


@dataclass(frozen=True)
class Judged:
    """One quantity of one draw; `off` is its error over its U, `width` U over the value."""

    name: str
    is_told: bool
    off: float
    width: float


@dataclass(frozen=True)
class Outcome:
    """One draw.

    Attributes:
        fit_s: seconds of the processor, for reading and fitting; `run_s`, for the dry run.
        misfits: how many signals the model does not explain within chance.
        no_fit: why nothing was fitted.
    """

    seed: int
    bench: str
    judged: tuple[Judged, ...]
    run_s: float
    fit_s: float
    findings: tuple[str, ...]
    misfits: int
    no_fit: str


@dataclass(frozen=True)
class Task:
    """A draw around a shipped amplifier.

    Attributes:
        keep: folder of outcomes, so that a campaign may go on later; None keeps nothing.
        keeps_run: whether its run folder is kept too.
        refits: whether a run that was kept is fitted again.
    """

    base: str
    sequence: str
    seed: int
    keep: Path | None = None
    keeps_run: bool = False
    refits: bool = False

    @property
    def name(self) -> str:
        """Of its file and folder."""
        return f"{self.base}-{self.sequence}-{self.seed}"


def trial(task: Task, scratch: Path) -> Outcome:
    """Draw it, run it, fit it; or what was kept of that."""
    kept = None if task.keep is None else task.keep / task.name
    if kept is not None and kept.exists() and not task.refits:
        found = pickle.loads(kept.read_bytes())
        assert isinstance(found, Outcome)
        return found
    folder = task.keep / "runs" / task.name if task.keep is not None and task.keeps_run else scratch
    outcome = _trial(task, folder)
    if kept is not None:
        kept.parent.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(pickle.dumps(outcome))
    return outcome


def _trial(task: Task, folder: Path) -> Outcome:
    folder.mkdir(parents=True, exist_ok=True)
    draw = drawn(task.base, task.seed, folder, bench_of(task.seed))
    began = time.process_time()
    found = sorted((folder / "runs").glob("2*"))
    if not found:
        these = documents(task.sequence, str(draw.amplifier), short=True, bench=str(draw.bench))
        try:
            found = [run(these, Nobody(), out=folder / "runs", dry_run=True, accepted=ACCEPTED).folder]
        except BenchctlError as refused:
            return Outcome(task.seed, bench_of(task.seed), (), 0.0, 0.0, (), 0, f"no run: {refused}")
    return _fitted(draw, task.seed, found[0], time.process_time() - began)


def _fitted(draw: Drawn, seed: int, folder: Path, run_s: float) -> Outcome:
    began = time.process_time()
    found = examine(folder)
    return Outcome(
        seed=seed,
        bench=bench_of(seed),
        judged=tuple(judged(draw.truths, found)),
        run_s=run_s,
        fit_s=time.process_time() - began,
        findings=tuple(finding.sentence for finding in found.findings),
        misfits=len(found.misfits),
        no_fit=found.no_fit,
    )


def judged(truths: Mapping[tuple[str, str], float], found: Examination) -> Iterator[Judged]:
    """Each quantity whose true value is known, by name and channel."""
    for quantity in found.quantities:
        truth = truths.get((quantity.name, quantity.channel))
        if truth is not None:
            expanded = quantity.expanded_uncertainty
            width = expanded / max(abs(quantity.value), 1e-12)
            yield Judged(quantity.name, quantity.is_told, (quantity.value - truth) / expanded, width)
