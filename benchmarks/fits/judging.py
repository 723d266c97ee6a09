"""One draw run dry and fitted, and each quantity beside its true value."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

from rich.table import Table
from scipy.stats import beta

from benchctl.fit.examination import Examination, examine
from benchmarks.fits.drawing import Drawn, drawn
from benchmarks.sequences.trials import trial

DECIDES = 0.99


@dataclass(frozen=True)
class Judged:
    """One quantity of one draw; `off` is its error over its U, `width` U over the value."""

    name: str
    is_told: bool
    off: float
    width: float


@dataclass(frozen=True)
class Outcome:
    """One draw. `seconds`: of the processor, for reading and fitting; `no_fit`: why nothing was fitted."""

    seed: int
    judged: tuple[Judged, ...]
    seconds: float
    findings: tuple[str, ...]
    misfits: int
    no_fit: str


def outcome(base: str, sequence: str, seed: int, folder: Path) -> Outcome:
    """Draw it, run it, fit it."""
    folder.mkdir(parents=True, exist_ok=True)
    draw = drawn(base, seed, folder)
    ended = trial(sequence, str(draw.amplifier), folder / "runs", bench=str(draw.bench))
    runs = sorted(path for path in (folder / "runs").glob("*") if path.is_dir())
    if not runs:
        return Outcome(seed, (), 0.0, (), 0, f"no run: {ended.reason}")
    return fitted(draw, seed, runs[0])


def fitted(draw: Drawn, seed: int, run: Path) -> Outcome:
    """Fit a run that is there."""
    began = time.process_time()
    found = examine(run)
    seconds = time.process_time() - began
    sentences = tuple(finding.sentence for finding in found.findings)
    return Outcome(seed, tuple(judged(draw.truths, found)), seconds, sentences, len(found.misfits), found.no_fit)


def judged(truths: Mapping[tuple[str, str], float], found: Examination) -> Iterator[Judged]:
    """Each quantity whose true value is known, by name and channel."""
    for quantity in found.quantities:
        truth = truths.get((quantity.name, quantity.channel))
        if truth is not None:
            expanded = quantity.expanded_uncertainty
            width = expanded / max(abs(quantity.value), 1e-12)
            yield Judged(quantity.name, quantity.is_told, (quantity.value - truth) / expanded, width)


def table_of(outcomes: Sequence[Outcome], title: str) -> Table:
    """A row for each quantity."""
    table = Table(title=title)
    for heading in ("quantity", "told", "inside U", f"{DECIDES:.0%} of that", "median U", "median |error|/U", "worst"):
        table.add_column(heading, justify="left" if heading == "quantity" else "right")
    each = [one for outcome in outcomes for one in outcome.judged]
    for name in dict.fromkeys(one.name for one in each):
        of_name = [one for one in each if one.name == name]
        told = [one for one in of_name if one.is_told]
        table.add_row(name, f"{len(told)}/{len(of_name)}", *_cells(told))
    return table


def _cells(told: Sequence[Judged]) -> tuple[str, ...]:
    if not told:
        return ("-",) * 5
    inside = sum(abs(one.off) <= 1.0 for one in told)
    low, high = interval(inside, len(told))
    offs = sorted(abs(one.off) for one in told)
    return (
        f"{inside / len(told):.1%}",
        f"{low:.1%} to {high:.1%}",
        f"{median(one.width for one in told):.2%}",
        f"{median(offs):.2f}",
        f"{offs[-1]:.2f}",
    )


def interval(inside: int, of_all: int) -> tuple[float, float]:
    """The binomial interval of a share (Clopper and Pearson, Biometrika 26, 1934)."""
    left = (1.0 - DECIDES) / 2.0
    low = 0.0 if inside == 0 else float(beta.ppf(left, inside, of_all - inside + 1))
    high = 1.0 if inside == of_all else float(beta.ppf(1.0 - left, inside + 1, of_all - inside))
    return low, high
