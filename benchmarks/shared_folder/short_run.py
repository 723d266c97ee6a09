"""A bench of the campaign makes dry runs."""

from __future__ import annotations

from pathlib import Path

from benchctl.launch.opened import opened_bench
from benchctl.launch.run import run_on
from benchctl.runner.checks.preflight import preflight
from benchctl.runner.plan import expand
from benchmarks.fault_campaign.trial import files_with
from benchmarks.nobody import Nobody


def short_run(root: Path, seed: int) -> Path:
    """A dry run of the short sequence on a sound bench."""
    files = files_with([], seed)
    checked = preflight(files, expand(files.sequence, files.amplifier, files.bench), unattended=True)
    with opened_bench(files, dry_run=True) as opened:
        return run_on(opened, files, checked, Nobody(), out=root).folder
