"""`python -m benchmarks.diagnosis --draws 60 --seed 1`."""

from __future__ import annotations

import os
import pickle
from collections import Counter
from collections.abc import Sequence
from hashlib import sha256
from pathlib import Path

import click

# Before numpy is there: small matrices, and one thread for each of many processes.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

from rich.console import Console
from rich.table import Table

from benchctl.cli.options import spread_options
from benchctl.spread.spread import Failure, Spread
from benchmarks.diagnosis.planting import SIZES
from benchmarks.diagnosis.trial import Job, Trial, jobs, judged
from benchmarks.fits.judging import DECIDES, interval
from benchmarks.spreading import campaign, in_own_folder, performed


@click.command()
@click.option(
    "--draws",
    default=60,
    show_default=True,
    help="Units: amplifiers and benches in turn, each with five sets of faults.",
)
@click.option("--seed", default=1, show_default=True, help="Of the first; each further one has the next.")
@click.option("--only", multiple=True, metavar="FAULTS", help="Such as 'aged_reservoir+dc_on_output', or '' of none.")
@click.option("--keep", type=click.Path(path_type=Path), help="Folder of the results, to go on with later.")
@spread_options
def main(  # noqa: PLR0917 - click gives each by its name
    draws: int, seed: int, only: Sequence[str], keep: Path | None, workers: int | None, scheduler: str
) -> None:
    """Plant faults and pairs of faults in drawn units, run each before and after, and count what is named."""
    console = Console(width=130)
    with campaign(workers, scheduler) as spread:
        done, failed = _perform(jobs(draws, seed, only), keep, spread)
    console.print(faults_table(done))
    for line in sound_lines(done):
        console.print(line)
    for each in done:
        if each.others or any(verdict.how != "named" for verdict in each.verdicts):
            _tell(console, each)
    for line in failed:
        console.print(line, soft_wrap=True, markup=False)


def _perform(each: Sequence[Job], keep: Path | None, spread: Spread) -> tuple[list[Trial], list[str]]:
    kept = {job: _file(keep, job) for job in each if keep is not None}
    left = [job for job in each if job not in kept or not kept[job].exists()]
    found: dict[Job, list[Trial]] = {
        job: pickle.loads(file.read_bytes()) for job, file in kept.items() if job not in left
    }
    failed = []
    for job, ended in performed(spread, in_own_folder(judged), left, "units"):
        if isinstance(ended, Failure):
            failed.append(f"{job}: {ended.why}")
            continue
        found[job] = ended
        if job in kept:
            kept[job].write_bytes(pickle.dumps(ended))
    return [one for job in each for one in found.get(job, ())], failed


def _file(keep: Path | None, job: Job) -> Path:
    assert keep is not None
    keep.mkdir(parents=True, exist_ok=True)
    base, bench, sets, seed = job
    names = ",".join("+".join(faults) for faults in sets)
    return keep / f"{seed}-{base}-{bench}-{sha256(names.encode()).hexdigest()[:8]}"


def faults_table(done: Sequence[Trial]) -> Table:
    """A row for each fault and amplifier, alone and in pairs."""
    table = Table(title="planted faults; what is said to be untold is not counted as a chance to name it")
    for heading in ("amplifier", "fault", "alone or in a pair", "named", f"{DECIDES:.0%} of that", "untold", "later"):
        table.add_column(heading)
    for base in dict.fromkeys(each.base for each in done):
        for fault in SIZES:
            for pair in (False, True):
                of = [each for each in done if each.base == base and (len(each.faults) > 1) == pair]
                hows = Counter(verdict.how for each in of for verdict in each.verdicts if verdict.fault == fault)
                if hows:
                    table.add_row(base, fault, "pair" if pair else "alone", *_cells(hows))
    every = Counter(verdict.how for each in done for verdict in each.verdicts)
    table.add_row("all", "", "", *_cells(every))
    return table


def _cells(hows: Counter[str]) -> tuple[str, ...]:
    chances = hows["named"] + hows["later"] + hows["missed"]
    low, high = interval(hows["named"], chances) if chances else (0.0, 1.0)
    return f"{hows['named']}/{chances}", f"{low:.1%} to {high:.1%}", str(hows["untold"]), str(hows["later"])


def sound_lines(done: Sequence[Trial]) -> list[str]:
    """Of sound units, and of what was named beside a planted fault."""
    sound = [each for each in done if not each.faults]
    wrong = sum(bool(each.others) for each in sound)
    low, high = interval(wrong, len(sound)) if sound else (0.0, 1.0)
    ill = [each for each in done if each.faults]
    beside = sum(bool(each.others) for each in ill)
    return [
        f"Sound units called faulty: {wrong}/{len(sound)} ({low:.1%} to {high:.1%}).",
        f"Faulty units of which something else was named as well: {beside}/{len(ill)}.",
    ]


def _tell(console: Console, each: Trial) -> None:
    hows = ", ".join(f"{verdict.fault} {verdict.how}" for verdict in each.verdicts) or "sound"
    console.print(
        f"{each.seed} {each.base} {each.bench}: {hows}; planted {each.section}; ended: {each.ended[:60]}",
        soft_wrap=True,
        markup=False,
    )
    for line in each.named:
        console.print(f"    {line}", soft_wrap=True, markup=False, highlight=False)
    if each.no_fit:
        console.print(f"    no fit: {each.no_fit}", soft_wrap=True, markup=False)


if __name__ == "__main__":
    main()
