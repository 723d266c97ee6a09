"""benchctl note: what a person has found or done, kept with a run."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from benchctl.cli.options import of_run_folder


@click.command(
    epilog="""\b
Examples:
  benchctl note runs/20261124-221003-quick-check-hx-2150 "Both output relays cleaned" --photo relays.jpg
  benchctl note runs/20261124-221003-quick-check-hx-2150 -"""
)
@of_run_folder()
@click.argument("text", metavar="TEXT")
@click.option(
    "--photo",
    "photos",
    type=click.Path(path_type=Path),
    multiple=True,
    metavar="FILE",
    help="A photograph: JPEG, PNG, WebP, AVIF, TIFF, BMP or GIF. Give the option again for another one.",
)
def note(run_folder: Path, text: str, photos: tuple[Path, ...]) -> int:
    """Add a note to a run, with photographs.

    The note is kept in the run folder with the date, and the page of the run shows it under what was found and done.
    TEXT is Markdown; a single - reads it from standard input. A photograph is scaled and turned upright, and only its
    pixels are kept: neither where nor when it was taken. A note cannot be changed later; add another one.
    """
    from benchctl.archive.notes import add_note  # noqa: PLC0415 - heavy, and `--help` needs none of it

    event = add_note(run_folder, sys.stdin.read() if text == "-" else text, photos)
    count = len(event["photos"])
    pictures = f" with {count} photograph{'s' if count > 1 else ''}" if count else ""
    click.echo(f"Note {event['number']} is kept in {run_folder}{pictures}.")
    click.echo(f"To show it on the page: benchctl report {run_folder}")
    return 0
