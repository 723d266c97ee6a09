"""benchctl drift: whether the zeros, gains and reference figures of a bench have changed over months."""

from __future__ import annotations

from pathlib import Path

import click

from benchctl.cli.completing import complete_serial
from benchctl.cli.options import json_option


@click.command(
    epilog="""\b
Examples:
  benchctl drift
  benchctl drift --bench "bench 2" --runs /srv/runs --standard 17-0042 --out bench-2.html"""
)
@click.option(
    "--bench", "-b", default="", metavar="TITLE", help="The bench by its title in the runs, or by a part of it."
)
@click.option(
    "--runs", "folder", type=click.Path(path_type=Path), metavar="FOLDER", help="The folder of runs, if it is not runs."
)
@click.option(
    "--standard",
    default="",
    metavar="SERIAL",
    shell_complete=complete_serial,
    help="Serial number of an amplifier that is kept as a check standard: its figures are charted too.",
)
@click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help="The page to write, in place of "
    "drift-BENCH.html in the folder of runs."
)  # fmt: skip
@click.option("--with-simulated", is_flag=True, help="Take in runs with simulated instruments; the page then says so.")
@json_option
def drift(  # noqa: PLR0917 - one for each option
    bench: str, folder: Path | None, standard: str, out: Path | None, with_simulated: bool, as_json: bool
) -> int:
    """Show whether a bench has drifted: a control chart of each zero, gain and reference figure, as a page.

    Every run that two instruments saw the supply's current or voltage in gives the ratio of both, and every record of
    zeros the zero of each input. They are charted after ISO 7870-2, anew from each calibration. A clamp that ages is
    seen so before its next calibration. With fewer than 10 values nothing is judged.

    Exit code 1 if something has changed lastingly by a quarter or more of what the bench file states, else 0.
    """
    from benchctl.cli.shown.months.drift import show_drift  # noqa: PLC0415 - heavy, and `--help` needs none of it

    return show_drift(folder, bench, standard, out, with_simulated=with_simulated, as_json=as_json)
