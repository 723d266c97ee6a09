"""The calibration file: what it has already stays, what was measured now takes its place."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from benchctl.archive.files import write_whole
from benchctl.cli.shown.calibrating.measured import Measured
from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.calibration_file.calibration import Calibration
from benchctl.documents.model.model_base import Source
from benchctl.documents.reader import read, read_source
from benchctl.documents.text.joined import whole_text
from benchctl.documents.text.tree import Table, parse_tree
from benchctl.quantity import parse_quantity


def kept_in(path: Path) -> Table | None:
    """What the file has already; None where there is none.

    Raises:
        DocumentError: there is a file of this name, and it is no calibration file.
    """
    if not path.exists():
        return None
    source = read_source(path)
    read(source, "calibration")
    tree, _ = parse_tree(source.text, source.name)
    assert isinstance(tree, Table)
    return tree


def text_of(bench: Bench, kept: Table | None, found: Sequence[Measured], due: datetime.date | None) -> str:
    """The whole file."""
    entries: dict[str, Any] = dict(kept or {"title": f"Calibration of {bench.title}"[:_LONGEST_TITLE]})
    if due is not None:
        entries["due"] = str(due)
    of = {section: [each for each in found if each.section == section] for section in ("resistors", "probes")}
    if resistors := _resistors(entries.get("resistors", ()), [each.entry for each in of["resistors"]]):
        entries["resistors"] = resistors
    if probes := {**entries.get("probes", {}), **{each.key: dict(each.entry) for each in of["probes"]}}:
        entries["probes"] = probes
    entries |= {each.section: dict(each.entry) for each in found if each.section in {"clamp", "leads"}}
    return whole_text("calibration 1", Table(entries.items()))


_LONGEST_TITLE = 200


def _resistors(kept: Sequence[Mapping[str, str]], found: Sequence[Mapping[str, str]]) -> list[dict[str, str]]:
    """Each of them once: the one that was measured last."""
    every = {(entry["channel"], f"{parse_quantity(entry['nominal'], 'ohm'):.4g}"): entry for entry in (*kept, *found)}
    return [dict(entry) for entry in every.values()]


def write(path: Path, text: str) -> Calibration:
    """Write it whole or not at all; what is written reads back.

    Raises:
        DocumentError: values that no calibration file can have; nothing is written.
        ArchiveError: it cannot be written.
    """
    calibration = read(Source(str(path), path, text), "calibration")
    assert isinstance(calibration, Calibration)
    write_whole(path, text.encode("utf-8"))
    return calibration
