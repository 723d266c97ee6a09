"""benchctl replay: run a recorded run again, without its instruments."""

from __future__ import annotations

from pathlib import Path

import click

from benchctl.cli.options import json_option, of_run_folder, runs_made_option


@click.command(
    epilog="""\b
Examples:
  benchctl replay runs/20261124-221003-quick-check-hx-2150
  benchctl replay traffic.jsonl.gz --out replayed"""
)
@of_run_folder("recording", metavar="RECORDING")
@runs_made_option
@json_option
def replay(recording: Path, out: Path, as_json: bool) -> int:
    """Run a recorded run again, without its instruments.

    RECORDING is the file traffic.jsonl.gz that 'benchctl run --record' left in its run folder, or that folder. The file
    alone is enough: it holds the documents of the run too. Each question is answered as it was after the same commands,
    so a fault that was seen on one bench is seen again where there is none. It takes seconds.

    The new run folder says that it was replayed, wherever a simulated run says that it was simulated.
    """
    # Heavy, and `--help` needs none of it.
    from benchctl.cli.shown.run import show_run  # noqa: PLC0415
    from benchctl.cli.shown.views import view_for  # noqa: PLC0415
    from benchctl.launch.replay import replay as perform  # noqa: PLC0415

    return show_run(lambda view: perform(recording, view, out=out), as_json, view_for)
