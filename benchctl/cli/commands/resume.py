"""benchctl resume: go on with a run that ended early."""

from __future__ import annotations

from pathlib import Path

import click

from benchctl.cli.options import Watching, accept_changes_option, json_option, of_run_folder, unattended_option, watched


@click.command(epilog="Example:  benchctl resume runs/20261124-221003-quick-check-hx-2150")
@of_run_folder()
@unattended_option
@accept_changes_option
@watched
@json_option
def resume(run_folder: Path, unattended: bool, accepted: str, watching: Watching, as_json: bool) -> int:
    """Go on with a run that ended early.

    It begins at the first unfinished step, with the documents as the run kept them and the same instruments. The
    amplifier is switched on as its sequence did, load and frequency are set as they were, nothing is measured twice,
    and everything goes on in the same run folder. A run whose steps are all finished, and whose end or tables could not
    be written, is completed.

    With 'latest' or a serial number in place of the folder, the run that is gone on with is named before anything else:
    it may be another one than you think.

    Documents or drivers in inputs/ that are not as the run kept them are refused, and so is a journal whose lines were
    changed.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.cli.shown.run import show_run  # noqa: PLC0415
    from benchctl.cli.shown.views import view_for  # noqa: PLC0415
    from benchctl.launch.resume import resume as go_on  # noqa: PLC0415

    return show_run(
        lambda view: go_on(run_folder, view, unattended=unattended, accepted=accepted), as_json, view_for, watching
    )
