"""Write an export where it was asked for; what is there already is overwritten only if that was asked for too."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from benchctl.archive.files import disk_errors, write_whole
from benchctl.errors import UsageError
from benchctl.export.csv_files import csv_files
from benchctl.export.junit import junit_file
from benchctl.export.parquet_files import parquet_files
from benchctl.export.sounds import Sounds
from benchctl.export.tables import Table, figures_table, runs_table, trend_table
from benchctl.report.reading.run_record import RunRecord

Form = Literal["parquet", "csv", "wav", "junit"]


@dataclass
class Exported:
    """The files that were written, in order, and what was left out, with the reason."""

    files: list[Path] = field(default_factory=list)
    left_out: dict[str, str] = field(default_factory=dict)


def export(
    run_records: Sequence[RunRecord], form: Form, out: Path, *, with_owner: bool = False, replace: bool = False
) -> Exported:
    """Write runs in a form: one file for JUnit, else a folder.

    Raises:
        UsageError: something is there already, or the form cannot be written here.
        ArchiveError: it cannot be written.
    """
    if form == "junit":
        return _written([(out, junit_file(run_records, with_owner=with_owner))], Exported(), replace=replace)
    _refuse_file(out)
    if form == "wav":
        return _sounds(run_records, out, replace=replace)
    as_files: Callable[[Sequence[Table]], dict[str, bytes]] = csv_files if form == "csv" else parquet_files
    files = as_files(_tables(run_records, with_owner=with_owner))
    named = ((out / _named(name, with_owner=with_owner), content) for name, content in files.items())
    return _written(named, Exported(), replace=replace)


def _tables(run_records: Sequence[RunRecord], *, with_owner: bool) -> list[Table]:
    return [runs_table(run_records, with_owner=with_owner), figures_table(run_records), trend_table(run_records)]


def _named(name: str, *, with_owner: bool) -> str:
    """The table that names an owner says so in its name: it is not for everybody."""
    return name.replace("runs.", "runs-with-owner.", 1) if with_owner and name.startswith("runs.") else name


def _sounds(run_records: Sequence[RunRecord], out: Path, *, replace: bool) -> Exported:
    exported = Exported()
    for run_record in run_records:
        sounds = Sounds(run_record)
        _written(((out / name, content) for name, content in sounds.files()), exported, replace=replace)
        exported.left_out |= {f"{run_record.name}/{file}": why for file, why in sounds.left_out.items()}
    return exported


def _written(files: Iterable[tuple[Path, bytes]], exported: Exported, *, replace: bool) -> Exported:
    for path, content in files if replace else _new(files):
        with disk_errors("write", path):
            path.parent.mkdir(parents=True, exist_ok=True)
            write_whole(path, content)
        exported.files.append(path)
    return exported


def _new(files: Iterable[tuple[Path, bytes]]) -> Iterator[tuple[Path, bytes]]:
    for path, content in files:
        if path.exists() or path.is_symlink():
            raise UsageError(
                f"{path} is there already", advice="Name another place with --out, or add --replace to write over it."
            )
        yield path, content


def _refuse_file(out: Path) -> None:
    if out.exists() and not out.is_dir():
        raise UsageError(f"{out} is a file; this form needs a folder, such as --out exported")
