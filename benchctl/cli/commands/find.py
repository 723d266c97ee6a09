"""benchctl find: runs with a figure that meets a condition."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchctl.cli.choosing import chosen, looked_into
from benchctl.cli.completing import complete_condition
from benchctl.cli.options import json_option

if TYPE_CHECKING:
    from benchctl.archive.collection.filters import Filters
    from benchctl.archive.collection.finding import Matches
    from benchctl.archive.collection.indexed.index import Collection


@click.command(
    epilog="""\b
Examples:
  benchctl find continuous_power at 2 ohm above 250 W
  benchctl find burst_power_clean of 8 cycles at 4 ohm on A below 150 W --amplifier hx2150
  benchctl find thd_n at 4 ohm at 1 kHz above 0.1 % --from 2026 --measured"""
)
@click.argument("words", metavar="CONDITION", nargs=-1, required=True, shell_complete=complete_condition)
@click.option(
    "--runs", "folder", type=click.Path(path_type=Path), metavar="FOLDER", help="The folder of runs, if it is not runs."
)
@chosen
@click.option("--every", is_flag=True, help="Only runs in which every such figure meets the condition.")
@json_option
def find(words: Sequence[str], folder: Path | None, filters: Filters, every: bool, as_json: bool) -> int:
    """Find runs with a figure that meets a condition.

    CONDITION is a figure's name, where it was taken (at 2 ohm, at 1 kHz, at 14.4 V, on A, of 8 cycles), and above,
    below, within or outside a value with its unit, as in a sequence. Each channel counts by itself; 'on total' asks for
    their sum. A run is found if at least one of its figures meets it with its whole interval of value ± U. A run of
    which that is not known, as the interval spans the value or only a bound was measured, is listed apart as undecided.

    Exit code 0 if a run was found, else 1.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.archive.collection.condition import parse_condition  # noqa: PLC0415
    from benchctl.archive.collection.finding import found_among  # noqa: PLC0415

    condition = parse_condition(" ".join(words))
    runs = looked_into(folder, condition.figure)
    found = found_among(filters.keep(runs.runs), runs.figures, condition, every=every)
    _print(runs, found, as_json=as_json)
    return 0 if found.met else 1


def _print(runs: Collection, found: Matches, *, as_json: bool) -> None:
    from benchctl.cli.shown.folders.runs import found_as_data, found_in_lines, others_as_data, remarks  # noqa: PLC0415

    if as_json:
        told = {name: [found_as_data(each) for each in kept] for name, kept in vars(found).items()}
        click.echo(json.dumps({**told, "not_read": others_as_data(runs)}, indent=2))
        return
    for title, kept in (("Meets the condition", found.met), ("Undecided", found.undecided)):
        click.echo(f"{title}: {len(kept)} run{'' if len(kept) == 1 else 's'}.")
        for line in found_in_lines(kept):
            click.echo(f"  {line}")
    for line in remarks(runs, [each.run for each in (*found.met, *found.undecided)]):
        click.echo(line, err=True)
