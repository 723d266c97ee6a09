"""benchctl manual: drive an amplifier by hand, under the guard of a run."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import click

from benchctl.cli.options import (
    Watching,
    accept_option,
    amplifier_option,
    bench_option,
    runs_made_option,
    set_option,
    watched,
)


@click.command(
    epilog="""\b
Examples:
  benchctl manual --bench workshop --amplifier hx2150 --dry-run
  benchctl manual --bench mybench.yaml --amplifier unit17.yaml --set current_limit=5A --set key_every=30s"""
)
@bench_option
@amplifier_option
@set_option
@click.option("--dry-run", is_flag=True, help="Simulated instruments behind the same bench file, in real time.")
@accept_option
@runs_made_option
@watched
def manual(  # noqa: PLR0917 - click passes each option by name
    bench: str,
    amplifier: str,
    settings: Mapping[str, str],
    dry_run: bool,
    accepted: str,
    out: Path,
    watching: Watching,
) -> int:
    """Drive an amplifier by hand with keys, under the guard of a run.

    The page shows the outputs' voltage, power and distortion, the supply, and the limits as bars. Keys switch the
    amplifier and its signal on and off, change level, frequency and load, and keep records with their figures. The
    signal goes off if no key is pressed for a minute. Preflight, guard, guardians and safe state are those of 'run',
    and the session leaves a run folder. Ctrl-C stops everything at once.

    Read SAFETY.md first, and keep an emergency stop that does not depend on software.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.cli.shown.by_hand.page import page_of_terminal  # noqa: PLC0415
    from benchctl.cli.shown.run import show_run  # noqa: PLC0415
    from benchctl.launch.run import BY_HAND, Documents, run  # noqa: PLC0415

    documents = Documents(BY_HAND, bench, amplifier, settings)
    return show_run(
        lambda page: run(documents, page, out=out, dry_run=dry_run, accepted=accepted, desk=page),
        as_json=False,
        viewing=page_of_terminal,
        watching=watching,
    )
