"""benchctl reanalyse: compute all figures of many runs again, by the method of today."""

from __future__ import annotations

import json
from pathlib import Path

import click

from benchctl.archive.reanalysis.kept import Kept
from benchctl.archive.reanalysis.reanalyse import Collection, Done, collection_of, default_folder, reanalyse
from benchctl.archive.reanalysis.tally import Tally, tally_of
from benchctl.cli.options import json_option, of_run_folder, spread_options
from benchctl.cli.shown.reanalysis import print_results, progress_of
from benchctl.errors import ArchiveError
from benchctl.spread.choosing import spread_over


@click.command(
    name="reanalyse",
    epilog="""\b
Examples:
  benchctl reanalyse runs
  benchctl reanalyse runs/20261124-221003-quick-check-hx-2150 --out again
  benchctl reanalyse /srv/runs --scheduler tcp://192.0.2.7:8786""",
)
@of_run_folder("places", metavar="FOLDER|RUN_FOLDER...", several=True)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    help="Folder of the results, in place of reanalysis/method-N-version-V where the command is given.",
)
@spread_options
@json_option
def reanalyse_command(
    places: tuple[Path, ...], out: Path | None, workers: int | None, scheduler: str, as_json: bool
) -> int:
    """Compute all figures of many runs again, by the method of today.

    The runs stay as they are. Each run gets a table of its own in the folder of results: its figures as they come out
    today, beside those that it wrote, with what differs beyond rounding, by how much, which verdict turned, and what
    changed in the method. runs.csv has a row for each run, changes.csv all figures that changed.

    A reanalysis that was stopped goes on where it was: what was computed from the same record by the same program is
    not computed again. Exit code 0 if no verdict turned, 1 if one did or a figure cannot be computed any more, 5 if a
    run could not be read.
    """
    collection = collection_of(places)
    with spread_over(workers, scheduler) as spread:
        kept = Kept(out or default_folder(Path.cwd()), collection.root)
        try:
            with progress_of(len(collection.runs), spread.words) as told:
                done = reanalyse(collection, kept, spread, told)
        except KeyboardInterrupt:
            click.echo(f"What is done is kept in {kept.folder}; give the command again to go on.", err=True)
            raise
    tally = tally_of(kept.changes(), {row.name for row in done.rows})
    if as_json:
        click.echo(json.dumps(_as_data(collection, done, tally, kept.folder), indent=2))
    else:
        print_results(collection, done, tally, kept.folder)
    return _exit_code(done)


def _exit_code(done: Done) -> int:
    if done.failed:
        return ArchiveError.exit_code
    return 1 if done.count("verdicts_turned") or done.count("not_computed") else 0


def _as_data(collection: Collection, done: Done, tally: Tally, folder: Path) -> dict[str, object]:
    numbers = ("figures", "changed", "verdicts_turned", "new", "not_computed")
    return {
        "results": str(folder),
        "runs": len(done.rows),
        "as_before": done.as_before,
        **{number: done.count(number) for number in numbers},
        "why": list(tally.why),
        "not_computed_runs": {row.name: row.error for row in done.failed},
        "no_runs": {str(other.path): other.why for other in collection.not_read},
    }
