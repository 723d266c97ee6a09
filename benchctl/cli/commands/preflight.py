"""benchctl preflight: what a run would do, with its hazards and warnings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from benchctl.cli.options import json_option, of_a_run, unattended_option

if TYPE_CHECKING:
    from benchctl.launch.run import Documents


@click.command(epilog="Example:  benchctl preflight burst_and_continuous --bench workshop --amplifier hx2150")
@of_a_run
@unattended_option
@click.option("--all", "show_all", is_flag=True, help="Show every turn of long sweeps and repeats.")
@json_option
def preflight(documents: Documents, unattended: bool, show_all: bool, as_json: bool) -> int:
    """Show what a run would do, and every hazard.

    Shows the expanded steps as a tree with the time, energy, supply current and heatsink to expect, and current and
    heatsink against time. Nothing is touched. A hazard is a refusal, judged by the worst and not by what is expected:
    `run` makes the same checks first and does not begin until they pass.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.cli.shown.preflight import show_preflight  # noqa: PLC0415

    return show_preflight(documents, unattended=unattended, show_all=show_all, as_json=as_json)
