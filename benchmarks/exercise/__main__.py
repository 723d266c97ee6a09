"""The campaign: `python -m benchmarks.exercise`."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import click
from rich.console import Console

from benchmarks.exercise.mistakes import every
from benchmarks.exercise.trial import Trial, trial


@click.command()
@click.option("--only", default="", metavar="TEXT", help="Only mistakes whose name holds this text.")
@click.option("--all", "tells_all", is_flag=True, help="Tell of each mistake, not only of those that went otherwise.")
def main(only: str, tells_all: bool) -> None:
    """Plant mistakes in driver files, one at a time, exercise each on simulated instruments, and print which were not
    found at their line."""
    console = Console(markup=False, highlight=False)
    done: list[Trial] = []
    for mistake in every():
        if only in mistake.name:
            with tempfile.TemporaryDirectory() as folder:
                done.append(trial(mistake, Path(folder)))
            if tells_all or not done[-1].is_as_promised:
                console.print("\n".join(_lines(done[-1])), soft_wrap=True)
    found = sum(each.is_found for each in done if not each.mistake.unseen)
    console.print(f"{found} of {sum(not each.mistake.unseen for each in done)} mistakes were found at their line.")
    console.print(f"{sum(bool(each.mistake.unseen) for each in done)} more cannot be found, and the list says why.")
    sys.exit(0 if all(each.is_as_promised for each in done) else 1)


def _lines(one: Trial) -> list[str]:
    mark = "as promised" if one.is_as_promised else "NOT AS PROMISED"
    planted = ", ".join(map(str, sorted(one.lines)))
    told = [f"{mark}: {one.mistake.name} (planted in line {planted})"]
    if one.mistake.unseen:
        told.append(f"  cannot be found: {one.mistake.unseen}")
    return told + [f"  {line}" for line in one.told] + ([] if one.told else ["  nothing was found"])


if __name__ == "__main__":
    main()
