"""The command: `python -m benchmarks.link_campaign --times 300`."""

from __future__ import annotations

import itertools
import random
import statistics
import sys
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import ExitStack
from pathlib import Path
from queue import SimpleQueue

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table

from benchmarks.link_campaign.trial import ROLES, Case, ProxiedBench, Times, perform, proxied_bench
from tests.faults.proxy import FAULTS, Whose

Done = tuple[Case, Times]


@click.command()
@click.option("--times", default=300, show_default=True, help="How many runs to disturb.")
@click.option("--jobs", default=4, show_default=True, help="Benches that are served and used at a time.")
@click.option("--seed", default=0, show_default=True, help="Seed of the order of the runs.")
@click.option("--only", default="", help="Only cases with these words.")
def main(times: int, jobs: int, seed: int, only: str) -> None:
    """Disturb the links to one instrument in each way, and measure how soon everything is off and reported."""
    console = Console()
    cases = [case for case in drawn(times, seed) if only in str(case)]
    done: list[Done] = []
    with tempfile.TemporaryDirectory() as scratch:
        for one_client in (False, True):
            alike = [case for case in cases if case.one_client == one_client]
            done += _perform(console, alike, Path(scratch), jobs, one_client=one_client)
    console.print(_table(done))
    wrong = [case for case, seen in done if seen.faults]
    console.print(f"{len(done)} disturbed runs, {len(wrong)} not as promised")
    sys.exit(1 if wrong else 0)


def every_case() -> Iterator[Case]:
    """Each fault on each instrument's links: the run's or all, noticed by the run or stopped by hand; and for
    instruments that are switched off, also with an instrument that takes one client at a time."""
    scopes: tuple[Whose, ...] = ("run", "all")
    for role, fault, whose, by_hand in itertools.product(ROLES, FAULTS, scopes, (True, False)):
        yield Case(role, fault, whose, by_hand)
    for role, fault in itertools.product(("generator", "supply", "load"), FAULTS):
        yield Case(role, fault, "run", by_hand=True, one_client=True)


def drawn(times: int, seed: int) -> list[Case]:
    """This many cases in random order, each once before any is repeated."""
    every = list(every_case())
    generator = random.Random(seed)
    cases: list[Case] = []
    while len(cases) < times:
        cases += generator.sample(every, len(every))
    return cases[:times]


def _perform(console: Console, cases: Sequence[Case], folder: Path, jobs: int, *, one_client: bool) -> list[Done]:
    free: SimpleQueue[ProxiedBench] = SimpleQueue()

    def perform_one(case: Case) -> Done:
        bench = free.get()
        try:
            return case, perform(case, bench, Path(tempfile.mkdtemp(dir=folder)))
        finally:
            free.put(bench)

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with ExitStack() as stack:
        for job in range(min(jobs, len(cases))):
            made = folder / f"bench{job}{'single' * one_client}"
            made.mkdir()
            free.put(stack.enter_context(proxied_bench(made, one_client=one_client)))
        pool = stack.enter_context(ThreadPoolExecutor(jobs))
        progress = stack.enter_context(Progress(*columns, console=console))
        task = progress.add_task("disturbing links", total=len(cases))
        done = []
        for each in as_completed([pool.submit(perform_one, case) for case in cases]):
            done.append(each.result())
            _say_wrong(progress.console, *done[-1])
            progress.advance(task)
    return done


def _say_wrong(console: Console, case: Case, seen: Times) -> None:
    """Print it at once, because a campaign is long and may be interrupted."""
    if seen.faults:
        console.print(f"{case}: {'; '.join(seen.faults)}", style="red", markup=False)


def _table(done: Iterable[Done]) -> Table:
    """The three times from the trip, and what came before it."""
    table = Table(title="From the trip, s", title_justify="left")
    for name in ("links struck", "until", "runs", "least", "median", "95 %", "longest"):
        table.add_column(name, justify="left" if name in {"links struck", "until"} else "right")
    for whose in ("run", "all"):
        seen = [times for case, times in done if case.whose == whose]
        until = {
            "all is off that can be": [times.off_s for times in seen],
            "the terminal says that it stops": [times.told_s for times in seen],
            "it says in red what is not confirmed": [times.alarmed_s for times in seen],
            "the run has ended": [times.ended_s for times in seen],
            "(and its report is written)": [times.gone_s for times in seen],
            "(from the fault to the trip)": [times.noticed_s for times in seen],
        }
        for words, taken in until.items():
            table.add_row(f"{whose}", words, *_row([each for each in taken if each is not None]))
    return table


def _row(taken_s: list[float]) -> Iterator[str]:
    yield str(len(taken_s))
    if taken_s:
        taken_s = sorted(taken_s)
        at_95 = taken_s[int(0.95 * (len(taken_s) - 1))]
        yield from (f"{s:.2f}" for s in (taken_s[0], statistics.median(taken_s), at_95, taken_s[-1]))


if __name__ == "__main__":
    main()
