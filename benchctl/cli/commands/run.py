"""benchctl run: perform a sequence."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from benchctl.cli.options import (
    Watching,
    accept_option,
    json_option,
    of_a_run,
    runs_made_option,
    unattended_option,
    watched,
)

if TYPE_CHECKING:
    from benchctl.launch.run import Documents


@click.command(
    epilog="""\b
Examples:
  benchctl run burst_and_continuous --bench workshop --amplifier hx2150 --dry-run
  benchctl run quick_check --bench mybench.yaml --amplifier unit17.yaml --unattended"""
)
@of_a_run
@click.option("--dry-run", is_flag=True, help="Simulated instruments behind the same bench file, in virtual time.")
@unattended_option
@accept_option
@runs_made_option
@click.option("--record", "records", is_flag=True, help="Keep all that the instruments say, for 'benchctl replay'.")
@watched
@json_option
def run(  # noqa: PLR0917 - click passes each option by name
    documents: Documents,
    dry_run: bool,
    unattended: bool,
    accepted: str,
    out: Path,
    records: bool,
    watching: Watching,
    as_json: bool,
) -> int:
    """Run a sequence on an amplifier, real or dry.

    Preflight comes first; nothing is energised until it passes. While the run lasts its limits are watched, and any one
    stops it. However it ends, the bench is put into the safe state and the run folder says whether each instrument
    confirmed that. Ctrl-C stops it.

    High currents, hot loads and stored energy are yours to guard against: read SAFETY.md, keep an emergency stop that
    does not depend on software, and follow your local codes and the makers' manuals first.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.cli.shown.run import show_run  # noqa: PLC0415
    from benchctl.cli.shown.views import view_for  # noqa: PLC0415
    from benchctl.launch.run import run as perform  # noqa: PLC0415

    return show_run(
        lambda view: perform(
            documents, view, out=out, dry_run=dry_run, unattended=unattended, accepted=accepted, records=records
        ),
        as_json,
        view_for,
        watching,
    )
