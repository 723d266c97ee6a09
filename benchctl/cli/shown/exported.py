"""What a person sees of an export."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import cast

import click

from benchctl.errors import BenchctlError, UsageError
from benchctl.export.sounds import NO_OUTPUT
from benchctl.export.writing import Exported, Form, export
from benchctl.report.reading.run_record import RunRecord, read_run_record


def export_and_tell(run_folders: Sequence[Path], form: str, out: Path, *, with_owner: bool, replace: bool) -> int:
    """Export what can be read of the folders, and tell what was written and what was left out."""
    run_records, refused = _read(run_folders)
    for path, why in refused.items():
        click.echo(f"Left out: {path}: {why}", err=True)
    exported = export(run_records, cast(Form, form), out, with_owner=with_owner, replace=replace)
    for run_record in run_records:
        for sentence in run_record.missing:
            click.echo(f"Note: {run_record.name}: {sentence}", err=True)
    broken = {name: why for name, why in exported.left_out.items() if why != NO_OUTPUT}
    for name, why in broken.items():
        click.echo(f"Left out: {name}: {why}", err=True)
    click.echo(_told(exported, run_records, out))
    return 1 if refused or broken else 0


def _told(exported: Exported, run_records: Sequence[RunRecord], out: Path) -> str:
    runs = f"{len(run_records)} run{'s' if len(run_records) > 1 else ''}"
    files = f"{len(exported.files)} file{'s' if len(exported.files) != 1 else ''}"
    simulated = sum(bool(run_record.simulation.is_simulated) for run_record in run_records)
    mark = (
        f", {'simulated' if simulated == len(run_records) else f'{simulated} of them simulated'}" if simulated else ""
    )
    return f"Exported {runs}{mark}: {files} in {out}" if len(exported.files) != 1 else f"Exported {runs}{mark}: {out}"


def _read(run_folders: Sequence[Path]) -> tuple[list[RunRecord], dict[Path, str]]:
    """What can be read of the folders, and why the others cannot.

    Raises:
        UsageError: none of them can.
    """
    run_records: list[RunRecord] = []
    refused: dict[Path, str] = {}
    for path in run_folders:
        try:
            run_records.append(read_run_record(path))
        except BenchctlError as error:
            refused[path] = error.message
    if not run_records:
        raise UsageError(
            "\n".join(refused.values()), advice="Name folders that benchctl run made, such as those in runs/."
        )
    return run_records, refused
