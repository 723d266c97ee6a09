"""The workshop's logo, a file beside the bench file that names it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.model.model_base import PathProblem, PathProblems
from benchctl.errors import UsageError, quote


def logo_of(bench: Bench) -> Mapping[str, bytes]:
    """Its name and its content; empty where the bench has none, or where only the documents of a run were kept."""
    name = bench.workshop.logo if bench.workshop is not None else None
    path = (bench.source.folder or Path()) / (name or "")
    return {name: path.read_bytes()} if name and path.is_file() else {}


def check_logo(bench: Bench, folder: Path | None) -> None:
    """Raise if the bench names a logo that is not in its folder, or cannot be read.

    Raises:
        PathProblems: it is not there, or is no picture.
    """
    name = bench.workshop.logo if bench.workshop is not None else None
    if name is None:
        return
    from benchctl.photograph import as_logo  # noqa: PLC0415 - heavy, and few benches have a logo

    path = (folder or Path()) / name
    try:
        as_logo(path.read_bytes(), name)
    except OSError as error:
        problem = f"cannot read {quote(name)} beside this file: {error.strerror or error}"
    except UsageError as error:
        problem = f"{error.message}. {error.advice}"
    else:
        return
    raise PathProblems([PathProblem(("workshop", "logo"), problem)])
