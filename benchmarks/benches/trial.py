"""One drawn bench: what preflight said, how the run went, and what of it the simulator's truth denies."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field, replace
from pathlib import Path

from scipy.optimize import OptimizeWarning

from benchctl.archive.folder import RunFolder
from benchctl.errors import BenchctlError, DocumentError, LimitTripped
from benchctl.launch.opened import opened_bench
from benchctl.launch.run import Documents, run_on
from benchctl.runner.acting.run import Files
from benchctl.runner.checks.preflight import Preflight, preflight
from benchctl.runner.plan import expand
from benchctl.simulator.true_records import TrueRecords
from benchmarks.benches.drawing import draw
from benchmarks.benches.refusals import is_right
from benchmarks.nobody import Nobody
from benchmarks.sequences.truth import Held, held_against_truth

WHY_ACCEPTED = "a campaign of dry runs"


@dataclass(frozen=True)
class Trial:
    """How one drawn bench did. `refused` are the hazards that preflight saw, `violations` what was not as promised."""

    seed: int
    words: str
    exit_code: int
    ending: str
    refused: tuple[str, ...] = ()
    unmeasured: tuple[str, ...] = ()
    verdicts: tuple[str, ...] = ()
    violations: tuple[str, ...] = ()
    held: Held = field(default_factory=Held)


def trial(seed: int, out: Path) -> Trial:
    """Draw, preflight, run dry, and hold what came of it against the truth."""
    drawn = draw(seed)
    paths = {name: out / f"{name}-{seed}.yaml" for name in ("sequence", "bench", "amplifier")}
    for name, path in paths.items():
        path.write_text(getattr(drawn, name), encoding="utf-8")
    try:
        files = Documents(paths["sequence"], paths["bench"], paths["amplifier"]).load()
    except DocumentError as wrong:
        return Trial(seed, drawn.words, wrong.exit_code, str(wrong), violations=(f"a drawn file is wrong: {wrong}",))
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=False)
    if checked.hazards:
        wrong_ones = tuple(f"refused wrongly: {hazard}" for hazard in checked.hazards if not is_right(hazard, files))
        return Trial(seed, drawn.words, 3, "refused", tuple(checked.hazards), violations=wrong_ones)
    try:
        return _run(seed, drawn.words, files, replace(checked, accepted=WHY_ACCEPTED), out)
    except BenchctlError as error:
        return Trial(seed, drawn.words, error.exit_code, str(error), violations=(f"did not start: {error}",))


def _run(seed: int, words: str, files: Files, checked: Preflight, out: Path) -> Trial:
    with opened_bench(files, dry_run=True) as opened:
        assert opened.simulated is not None
        truth = TrueRecords(opened.simulated)
        result = run_on(opened, files, checked, Nobody(), out=out)
        outcome = result.outcome
        with warnings.catch_warnings():  # rails that hardly droop leave no time constant to fit
            warnings.simplefilter("ignore", OptimizeWarning)
            held = held_against_truth(RunFolder.open(result.folder), checked.plan, files.amplifier, truth)
    violations = list(held.false_verdicts)
    if not outcome.is_safe:
        violations.append("the bench is not known to be safe")
    if isinstance(outcome.error, LimitTripped):
        violations.append(f"a healthy amplifier was stopped by a limit: {outcome.error}")
    elif outcome.error is not None:
        violations.append(f"a healthy amplifier was stopped: {outcome.error}")
    return Trial(
        seed,
        words,
        outcome.exit_code,
        "finished" if outcome.error is None else str(outcome.error),
        unmeasured=outcome.unmeasured,
        verdicts=tuple(f"{figure.name}: {figure.verdict}" for figure in outcome.figures if figure.verdict),
        violations=tuple(violations),
        held=held,
    )
