"""The command: `python -m benchmarks.shared_folder --benches 3 --runs 20`."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

import click

from benchmarks.shared_folder.short_run import short_run
from benchmarks.shared_folder.trial import share


@click.command()
@click.option("--benches", default=2, show_default=True, help="Processes that make runs at once.")
@click.option("--runs", default=10, show_default=True, help="Of each bench.")
@click.option("--slow-ms", default=20.0, show_default=True, help="Each access to the folder takes up to so long.")
@click.option("--folder", type=click.Path(path_type=Path, file_okay=False), help="To share, such as one on a server.")
def main(benches: int, runs: int, slow_ms: float, folder: Path | None) -> None:
    """Make short dry runs from several processes in one slow folder, while another one reads it all the time; then
    verify each run."""
    with tempfile.TemporaryDirectory() as scratch:
        ended = Path(scratch) / "ended"
        ended.mkdir()
        root = (folder or Path(scratch) / "runs").resolve()
        shared = share(short_run, root, ended, benches=benches, runs=runs, at_most_s=slow_ms / 1e3)
    for violation in shared.violations:
        click.echo(violation)
    click.echo(
        f"{len(shared.made)} runs by {benches} benches, {shared.looks} looks at the folder meanwhile, "
        f"{len(shared.violations)} not as promised"
    )
    sys.exit(1 if shared.violations else 0)


if __name__ == "__main__":
    main()
