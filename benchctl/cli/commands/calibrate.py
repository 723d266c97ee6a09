"""benchctl calibrate: measure the bench's own load resistors, probes, clamp and leads, and write a calibration file."""

from __future__ import annotations

import datetime
from pathlib import Path

import click

from benchctl.cli.options import bench_option

SECTIONS = ("loads", "probes", "clamp", "leads")


@click.command(
    epilog="""\b
Examples:
  benchctl calibrate --bench multimeter_bench --out calibration.yaml --simulated
  benchctl calibrate --bench mybench.yaml --out calibration.yaml --due 2027-11-26 loads"""
)
@click.argument("sections", nargs=-1, type=click.Choice(SECTIONS), metavar="[loads] [probes] [clamp] [leads]")
@bench_option
@click.option(
    "--out", required=True, type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help="File to write."
)
@click.option(
    "--due",
    type=click.DateTime(formats=["%Y-%m-%d"]),
    metavar="DATE",
    help="Date from which the values no longer count; preflight and the page then say so.",
)
@click.option("--simulated", is_flag=True, help="Try it with simulated instruments behind the same bench file.")
def calibrate(sections: tuple[str, ...], bench: str, out: Path, due: datetime.datetime | None, simulated: bool) -> int:
    """Measure load resistors, probes, clamp and supply leads, and write a calibration file.

    Without sections all are measured in turn; each thing may be skipped. The command says what to connect, reads the
    bench's multimeter, thermometer and oscilloscope, and asks for what it cannot read. It switches load relays, and
    energises nothing. Before the file is written a table shows each value beside that of the bench file. What the file
    has already and was not measured again stays.

    The bench file then names the file: `calibration: FILE`. Its values take the place of the bench file's own.
    """
    from benchctl.cli.shown.calibrating.calibrate import show_calibrate  # noqa: PLC0415 - heavy, not for `--help`

    return show_calibrate(bench, sections, out, due.date() if due is not None else None, simulated=simulated)
