"""Run every benchmark and print one table: `python -m benchmarks`."""

from __future__ import annotations

from rich.console import Console
from rich.progress import Progress

from benchmarks import analyses, links, reaction, simulated, soak, spread_rows
from benchmarks.rows import Benchmark, Row, table_of

BENCHMARKS: dict[str, Benchmark] = {
    "analyses of a million samples": analyses.rows,
    "links": links.rows,
    "simulated instruments": simulated.rows,
    "two-hour soak": soak.rows,
    "reaction of the guard": reaction.rows,
    "two processes against one": spread_rows.rows,
}


def main() -> None:
    """Measure, one after the other, and print."""
    console = Console()
    rows: list[Row] = []
    with Progress(console=console, transient=True) as progress:
        task = progress.add_task("measuring", total=len(BENCHMARKS))
        for name, benchmark in BENCHMARKS.items():
            progress.update(task, description=name)
            rows += benchmark()
            progress.advance(task)
    console.print(table_of(rows))


if __name__ == "__main__":
    main()
