"""`python -m benchmarks.diagnosis --draws 63 --seed 1000 --keep FOLDER`.

Each unit is an amplifier around a shipped one, run sound by `before_and_after`, and then again on other instruments of
the same kind: sound, and with sets of one or two faults. What the diagnosis itself says it cannot see is counted apart,
with its reason; what it should have seen and did not name first or second counts against it. Seeds below 1000 were used
while the diagnosis was written.
"""

from __future__ import annotations

import os
import pickle
import re
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
    default=63,
    show_default=True,
    help="Units: amplifiers and benches in turn, each with five sets of faults.",
)
@click.option("--seed", default=1, show_default=True, help="Of the first; each further one has the next.")
@click.option("--only", multiple=True, metavar="FAULTS", help="Such as 'aged_reservoir+dc_on_output', or '' of none.")
@click.option("--sound", default=1, show_default=True, help="So many further sound runs of each unit.")
@click.option("--keep", type=click.Path(path_type=Path), help="Folder of the results, to go on with later.")
@spread_options
def main(  # noqa: PLR0917 - click gives each by its name
    draws: int, seed: int, only: Sequence[str], sound: int, keep: Path | None, workers: int | None, scheduler: str
) -> None:
    """Plant faults and pairs of faults in drawn units, run each before and after, and count what is named."""
    console = Console(width=130)
    with campaign(workers, scheduler) as spread:
        done, failed = _perform(jobs(draws, seed, only, sound), keep, spread)
    console.print(faults_table(done))
    for line in (*sound_lines(done), *untold_lines(done)):
        console.print(line, soft_wrap=True)
    for each in done:
        if each.others or any(verdict.how in {"later", "missed"} for verdict in each.verdicts):
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
    table = Table(title="planted faults named first or second; those that are said to be untold are counted apart")
    for heading in ("amplifier", "fault", "alone or in a pair", "named", f"{DECIDES:.0%} of that", "later", "untold"):
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
    return f"{hows['named']}/{chances}", f"{low:.1%} to {high:.1%}", str(hows["later"]), str(hows["untold"])


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


def untold_lines(done: Sequence[Trial]) -> list[str]:
    """Which faults are counted apart, and why."""
    whys = Counter(
        (verdict.fault, each.base, _in_general(verdict.why))
        for each in done
        for verdict in each.verdicts
        if verdict.how == "untold"
    )
    return [f"{count} of {fault} untold on {base}: {why}" for (fault, base, why), count in sorted(whys.items())]


def _in_general(why: str) -> str:
    """A reason without its figures."""
    return re.sub(r"\d+(\.\d+)?", "N", why)


def _tell(console: Console, each: Trial) -> None:
    hows = ", ".join(f"{verdict.fault} {verdict.how}" for verdict in each.verdicts) or "sound"
    console.print(
        f"{each.seed} {each.base} {each.bench}: {hows}; planted {each.section}; ended: {each.ended[:60]}",
        soft_wrap=True,
        markup=False,
    )
    for line in (*each.named, *(f"perhaps: {line}" for line in each.perhaps)):
        console.print(f"    {line}", soft_wrap=True, markup=False, highlight=False)
    if each.no_fit:
        console.print(f"    no fit: {each.no_fit}", soft_wrap=True, markup=False)


if __name__ == "__main__":
    main()
