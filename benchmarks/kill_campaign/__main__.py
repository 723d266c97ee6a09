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

from benchmarks.kill_campaign.blows import DRAWN, Blow
from benchmarks.kill_campaign.kill import Kill, Target
from tests.faults.killing import AMPLIFIER, ServedBench, served_bench


@click.command()
@click.option("--times", default=200, show_default=True, help="How many runs to kill.")
@click.option("--jobs", default=2, show_default=True, help="Benches that are served and used at a time.")
@click.option("--within", "within_s", default=25.0, show_default=True, help="Seconds in which each run is killed.")
@click.option("--sequence", default="quick_check", show_default=True, help="What the runs run.")
@click.option("--amplifier", default=AMPLIFIER, show_default=True, help="On which amplifier.")
@click.option("--seed", default=0, show_default=True, help="Of the instants.")
@click.option(
    "--hit",
    type=click.Choice(list(DRAWN)),
    default="run",
    show_default=True,
    help="Who is killed: the run, two of run and guardians within 100 ms, or all that a pattern would find.",
)
@click.option("--resume", is_flag=True, help="Resume each killed run and hold it against an undisturbed one.")
def main(  # noqa: PLR0917 - click passes each option by name
    times: int, jobs: int, within_s: float, sequence: str, amplifier: str, seed: int, hit: str, resume: bool
) -> None:
    """Kill real-time runs at random instants and check, over separate connections, how soon every output is off."""
    console = Console()
    generator = random.Random(seed)
    blows = [(generator.uniform(0.0, within_s), DRAWN[hit](generator)) for _ in range(times)]
    with tempfile.TemporaryDirectory() as scratch, ExitStack() as stack:
        folder = Path(scratch)
        benches = [stack.enter_context(served_bench(_made(folder / f"bench{job}"), amplifier)) for job in range(jobs)]
        target = Target(sequence, amplifier, folder)
        if resume:
            target = replace(target, undisturbed=target.run_to_its_end(benches[0]))
        kills = _perform(console, target, blows, benches)
    console.print(_latencies(kills))
    wrong = [kill for kill in kills if kill.faults]
    console.print(f"{len(kills)} kills, {len(wrong)} not as promised")
    sys.exit(1 if wrong else 0)


def _made(folder: Path) -> Path:
    folder.mkdir()
    return folder


def _perform(
    console: Console, target: Target, blows: Sequence[tuple[float, Blow]], benches: Sequence[ServedBench]
) -> list[Kill]:
    free: SimpleQueue[ServedBench] = SimpleQueue()
    for bench in benches:
        free.put(bench)

    def kill(moment_s: float, blow: Blow) -> Kill:
        bench = free.get()
        try:
            return target.kill(moment_s, blow, bench)
        finally:
            free.put(bench)

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    kills: list[Kill] = []
    with ThreadPoolExecutor(len(benches)) as pool, Progress(*columns, console=console) as progress:
        task = progress.add_task("killing runs", total=len(blows))
        for done in as_completed([pool.submit(kill, *blow) for blow in blows]):
            kills.append(done.result())
            _say_wrong(progress.console, kills[-1])
            slowest = max(each.safe_after_s for each in kills)
            progress.update(task, advance=1, description=f"killing runs, slowest {slowest * 1e3:.0f} ms")
    return kills


def _say_wrong(console: Console, kill: Kill) -> None:
    """Print it at once, because a campaign is long and may be interrupted."""
    if kill.faults:
        console.print(f"{kill.hit} hit at {kill.moment_s:.3f} s: {'; '.join(kill.faults)}", style="red", markup=False)


def _latencies(kills: Sequence[Kill]) -> Table:
    """How long it took until everything was off: by what was hit and what was on, and for all with something on."""
    table = Table(title="From the last hit until every output is off, ms", title_justify="left")
    for name in ("hit", "on then"):
        table.add_column(name)
    for name in ("kills", "shortest", "median", "95 %", "longest"):
        table.add_column(name, justify="right")
    for hit, was_on in sorted(
        {(kill.hit, tuple(sorted(kill.was_on))) for kill in kills}, key=lambda row: (row, len(row))
    ):
        alike = [kill.safe_after_s for kill in kills if (kill.hit, tuple(sorted(kill.was_on))) == (hit, was_on)]
        table.add_row(hit, ", ".join(was_on) or "nothing", *_figures(alike))
    table.add_section()
    table.add_row("any", "anything", *_figures([kill.safe_after_s for kill in kills if kill.was_on]))
    return table


def _figures(taken_s: Sequence[float]) -> list[str]:
    """The count, and the shortest, median, 95 % and longest time."""
    if not taken_s:
        return ["0"]
    ordered = sorted(taken_s)
    figures = (ordered[0], statistics.median(ordered), ordered[int(0.95 * (len(ordered) - 1))], ordered[-1])
    return [str(len(ordered)), *(f"{s * 1e3:.1f}" for s in figures)]


if __name__ == "__main__":
    main()
