"""How long the whole commands take: `python -m benchmarks.collection --runs 10000`."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import click
from rich.console import Console
from rich.progress import track
from rich.table import Table

from benchctl.archive.collection.indexed.index_file import CACHE_VARIABLE, index_path
from benchmarks.collection.workshop import fill, patterns
from benchmarks.timing import seconds

CONDITION = "continuous_power at 2 ohm above 250 W"  # one run in ten
BROAD = "continuous_power at 4 ohm above 100 W"  # nearly all
COMMANDS: dict[str, Sequence[str]] = {
    "list": ("list", "{runs}"),
    "list --verdict fails": ("list", "{runs}", "--verdict", "fails"),
    "latest": ("latest", "{runs}"),
    "find": ("find", CONDITION, "--runs", "{runs}"),
    "find --json": ("find", CONDITION, "--runs", "{runs}", "--json"),
    "find, nearly all": ("find", BROAD, "--runs", "{runs}"),
}


@click.command()
@click.option("--runs", "count", default=10_000, show_default=True, help="How many folders are made.")
@click.option("--seed", default=1, show_default=True)
@click.option("--keep", type=click.Path(path_type=Path), help="Make the folders there, or use those that are there.")
@click.option("--repeats", default=3, show_default=True, help="How often each command is timed; the fastest counts.")
def main(count: int, seed: int, keep: Path | None, repeats: int) -> None:
    """Make run folders, and time the first index and each command after it, the start of Python included."""
    console = Console()
    with tempfile.TemporaryDirectory() as scratch:
        root = keep or Path(scratch) / "runs"
        if not root.exists():
            made = fill(root, patterns(Path(scratch) / "patterns"), count, seed)
            for _ in track(made, "making run folders", count, console=console):
                pass
        console.print(_timed(root, Path(scratch) / "cache", repeats))


def _timed(root: Path, cache: Path, repeats: int) -> Table:
    os.environ[CACHE_VARIABLE] = str(cache)
    table = Table("command", "seconds", "of the processor", title=f"{sum(1 for _ in root.iterdir())} folders")
    table.add_row("list, first index", *_in_words(_cost(COMMANDS["list"], root)))
    for name, arguments in COMMANDS.items():
        table.add_row(name, *_in_words(min(_cost(arguments, root) for _ in range(repeats))))
    before = _run(COMMANDS["find --json"], root)
    index_path(root).unlink()
    again = _run(COMMANDS["find --json"], root)
    table.add_row("index deleted: the same answer", "yes" if again == before else "NO")
    return table


def _cost(arguments: Sequence[str], root: Path) -> tuple[float, float]:
    """Seconds, and seconds of all processors: the latter are told from each other on a busy computer too."""
    before = os.times()
    taken = seconds(lambda: _run(arguments, root))
    after = os.times()
    spent = after.children_user + after.children_system - before.children_user - before.children_system
    return taken, spent


def _in_words(cost: tuple[float, float]) -> tuple[str, str]:
    taken, spent = cost
    return f"{taken:.2f}", f"{spent:.2f}"


def _run(arguments: Sequence[str], root: Path) -> bytes:
    """What the command prints."""
    words = [word.format(runs=root) for word in arguments]
    return subprocess.run([sys.executable, "-m", "benchctl", *words], capture_output=True, check=False).stdout


if __name__ == "__main__":
    main()
