"""The command: `python -m benchmarks.kill_campaign --times 200`."""

from __future__ import annotations

import random
import statistics
import sys
import tempfile
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from queue import SimpleQueue

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from benchmarks.kill_campaign.kill import Kill, Target
from tests.faults.killing import AMPLIFIER, ServedBench, served_bench


@click.command()
@click.option("--times", default=200, show_default=True, help="How many runs to kill.")
@click.option("--jobs", default=2, show_default=True, help="Benches that are served and used at a time.")
@click.option("--within", "within_s", default=25.0, show_default=True, help="Seconds in which each run is killed.")
@click.option("--sequence", default="quick_check", show_default=True, help="What the runs run.")
@click.option("--amplifier", default=AMPLIFIER, show_default=True, help="On which amplifier.")
@click.option("--seed", default=0, show_default=True, help="Of the instants.")
@click.option("--resume", is_flag=True, help="Resume each killed run and hold it against an undisturbed one.")
def main(  # noqa: PLR0917 - click passes each option by name
    times: int, jobs: int, within_s: float, sequence: str, amplifier: str, seed: int, resume: bool
) -> None:
    """Kill real-time runs at random instants and see, over connections of its own, how soon every output is off."""
    console = Console()
    generator = random.Random(seed)
    moments_s = [generator.uniform(0.0, within_s) for _ in range(times)]
    with tempfile.TemporaryDirectory() as scratch, ExitStack() as stack:
        folder = Path(scratch)
        benches = [stack.enter_context(served_bench(_made(folder / f"bench{job}"), amplifier)) for job in range(jobs)]
        target = Target(sequence, amplifier, folder)
        if resume:
            target = replace(target, undisturbed=target.run_to_its_end(benches[0]))
        kills = _perform(console, target, moments_s, benches)
    console.print(_latencies(kills))
    wrong = [kill for kill in kills if kill.faults]
    console.print(f"{len(kills)} kills, {len(wrong)} not as promised")
    sys.exit(1 if wrong else 0)


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


def _perform(
    console: Console, target: Target, moments_s: Sequence[float], benches: Sequence[ServedBench]
) -> list[Kill]:
    free: SimpleQueue[ServedBench] = SimpleQueue()
    for bench in benches:
        free.put(bench)

    def kill(moment_s: float) -> Kill:
        bench = free.get()
        try:
            return target.kill(moment_s, bench)
        finally:
            free.put(bench)

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    kills: list[Kill] = []
    with ThreadPoolExecutor(len(benches)) as pool, Progress(*columns, console=console) as progress:
        task = progress.add_task("killing runs", total=len(moments_s))
        for done in as_completed([pool.submit(kill, moment_s) for moment_s in moments_s]):
            kills.append(done.result())
            _say_wrong(progress.console, kills[-1])
            slowest = max(each.safe_after_s for each in kills)
            progress.update(task, advance=1, description=f"killing runs, slowest {slowest * 1e3:.0f} ms")
    return kills


def _say_wrong(console: Console, kill: Kill) -> None:
    """At once, because a campaign is long and may be broken off."""
    if kill.faults:
        console.print(f"killed at {kill.moment_s:.3f} s: {'; '.join(kill.faults)}", style="red", markup=False)


def _latencies(kills: Sequence[Kill]) -> Table:
    """How long it took until everything was off, by what was on."""
    table = Table(title="From the kill until every output is off, ms", title_justify="left")
    table.add_column("on when killed")
    for name in ("kills", "median", "95 %", "longest"):
        table.add_column(name, justify="right")
    for was_on in sorted({kill.was_on for kill in kills}, key=lambda names: (len(names), sorted(names))):
        taken_s = sorted(kill.safe_after_s for kill in kills if kill.was_on == was_on)
        figures = (statistics.median(taken_s), taken_s[int(0.95 * (len(taken_s) - 1))], taken_s[-1])
        table.add_row(", ".join(sorted(was_on)) or "nothing", str(len(taken_s)), *(f"{s * 1e3:.1f}" for s in figures))
    return table


if __name__ == "__main__":
    main()
