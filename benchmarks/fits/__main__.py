"""`python -m benchmarks.fits --amplifiers 100 --sequence burst_and_continuous --seed 1 --like hx2150`."""

from __future__ import annotations

import os
import pickle
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median

import click

# Before numpy is there: small matrices, and one thread for each of many processes.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")


@click.command()
@click.option("--amplifiers", default=20, show_default=True, help="How many are drawn.")
@click.option(
    "--like", "base", default="hx2150", show_default=True, help="Shipped amplifier that they are drawn around."
)
@click.option("--sequence", default="burst_and_continuous", show_default=True)
@click.option("--seed", default=1, show_default=True, help="Of the first; each further one has the next.")
@click.option("--keep", type=click.Path(path_type=Path), help="Folder of runs and results, to go on with later.")
@click.option("--refit", is_flag=True, help="Fit kept runs again, with the fit as it is now.")
def main(amplifiers: int, base: str, sequence: str, seed: int, keep: Path | None, *, refit: bool) -> None:
    """Draw amplifiers and benches, run each dry, fit it, and print how often each quantity is told and covered."""
    from rich.console import Console  # noqa: PLC0415

    from benchmarks.fits.drawing import drawn  # noqa: PLC0415
    from benchmarks.fits.judging import Outcome, fitted, outcome, table_of  # noqa: PLC0415

    def one(number: int, folder: Path) -> Outcome:
        kept = folder / "outcome"
        runs = sorted((folder / "runs").glob("2*"))
        if kept.exists() and not refit:
            found = pickle.loads(kept.read_bytes())
            assert isinstance(found, Outcome)
            return found
        found = (
            fitted(drawn(base, number, folder), number, runs[0]) if runs else outcome(base, sequence, number, folder)
        )
        kept.write_bytes(pickle.dumps(found))
        return found

    console = Console(width=130)
    with _folder(keep) as root:
        outcomes = []
        for number in range(seed, seed + amplifiers):
            outcomes.append(one(number, root / f"{base}-{sequence}-{number}"))
            click.echo(f"{number}: {outcomes[-1].seconds:.1f} s {outcomes[-1].no_fit}", err=True)
    console.print(table_of(outcomes, f"{base}, {sequence}, seeds {seed} to {seed + amplifiers - 1}"))
    seconds = [each.seconds for each in outcomes if each.seconds]
    if seconds:
        console.print(f"Seconds of one processor: median {median(seconds):.1f}, worst {max(seconds):.1f}.")
    for each in outcomes:
        for said in (*each.findings, *filter(None, (each.no_fit,))):
            console.print(f"seed {each.seed}: {said}", soft_wrap=True)


@contextmanager
def _folder(keep: Path | None) -> Iterator[Path]:
    if keep is not None:
        yield keep
        return
    with tempfile.TemporaryDirectory() as folder:
        yield Path(folder)


if __name__ == "__main__":
    main()
