"""benchctl safe: the safe state now."""

from __future__ import annotations

import json
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from benchctl.cli.options import bench_option, json_option

if TYPE_CHECKING:
    from benchctl.guard.confirmation import Confirmation

UNCONFIRMED_EXIT_CODE = 5


@click.command(epilog="Example:  benchctl safe --bench mybench.yaml")
@bench_option
@json_option
def safe(bench: str, as_json: bool) -> int:
    """Put the bench into the safe state now.

    Generator output off, then the supply's outputs off (the remote turn-on lead's first), then the load disconnected.
    Each instrument is asked to confirm. This is not an emergency stop: keep a switch in the supply lead for that.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.guard.confirmation import all_confirmed  # noqa: PLC0415
    from benchctl.launch.safe import safe as make_safe  # noqa: PLC0415

    confirmations = make_safe(bench, _alarm)
    if as_json:
        click.echo(json.dumps([asdict(confirmation) for confirmation in confirmations], indent=2))
    else:
        for confirmation in confirmations:
            words = f"{confirmation}. By hand: {confirmation.by_hand}" if confirmation.by_hand else str(confirmation)
            click.secho(words, fg=None if confirmation.confirmed else "red", err=not confirmation.confirmed)
    if all_confirmed(confirmations):
        return 0
    click.secho("NOT SAFE: switch off by hand what is not confirmed above.", fg="red", bold=True, err=True)
    return UNCONFIRMED_EXIT_CODE


def _alarm(confirmation: Confirmation) -> None:
    """At once: attempts to reach an instrument take seconds, and hands are quicker."""
    click.secho(confirmation.alarm, fg="red", err=True)
