"""The page that holds several runs against the first of them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from benchctl.archive.files import write_whole
from benchctl.report.comparison.compared import Comparison, compare
from benchctl.report.comparison.findings import MOST_LINES, findings_of, line_of, other_lines
from benchctl.report.comparison.sentence import sentence_of
from benchctl.report.comparison.tables import RULE, changes_table, runs_table, step_tables, unlike
from benchctl.report.pictures.compared.overlays import comparison_gallery
from benchctl.report.pictures.gallery import Gallery
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.diagnosis import diagnosis_sentence
from benchctl.report.sections.page_head import Box, date_of, evidence_boxes
from benchctl.report.sections.simulated import mark_of_comparison
from benchctl.report.sections.verdicts import overall_of
from benchctl.report.templating import printed

_SECTIONS = {
    "changed": "What changed",
    "pictures": "Pictures",
    "changes": "All significant differences",
    "figures": "All figures",
    "runs": "The runs",
}
_STAMP = 15  # characters that a run folder's name begins with: 20261124-221003


def write_comparison(run_records: Sequence[RunRecord], out: Path | None = None) -> Path:
    """Write the page that compares runs beside the last of them, or to the file `out`; returns where it is.

    Raises:
        ArchiveError: it cannot be written.
    """
    comparison = compare(run_records)
    first, last = comparison.run_records[0], comparison.run_records[-1]
    page = last.folder.path.parent / f"comparison-{first.name[:_STAMP]}-{last.name[:_STAMP]}.html"
    where = page if out is None else out
    write_whole(where, comparison_page(comparison, comparison_gallery(comparison)).encode("utf-8"))
    return where


def comparison_page(comparison: Comparison, gallery: Gallery) -> str:
    """The page: the same for the same folders."""
    return printed("comparison.html", _contents(comparison, gallery))


def _contents(comparison: Comparison, gallery: Gallery) -> dict[str, Any]:
    run_records, names = comparison.run_records, comparison.names
    findings = findings_of(comparison)
    changes = changes_table(comparison)
    contents: dict[str, Any] = {
        "changed": True,
        "pictures": gallery.pictures,
        "changes": changes,
        "figures": comparison.rows,
        "runs": runs_table(comparison),
    }
    return contents | {
        "sections": [(id_, title) for id_, title in _SECTIONS.items() if contents[id_]],
        "title": title_of(comparison),
        "subtitle": " and ".join(dict.fromkeys(run_record.title for run_record in run_records)),
        "facts": [
            (name[:1].upper() + name[1:], _in_short(each)) for name, each in zip(names.each, run_records, strict=True)
        ],
        "headline": str(sentence_of(comparison)),
        "mark": mark_of_comparison(run_records, names.each),
        "boxes": list(_boxes(comparison, gallery.missing)),
        "note": names.note,
        "diagnoses": list(_diagnoses(comparison)),
        "lines": [line_of(finding, comparison) for finding in findings[:MOST_LINES]],
        "left": max(0, len(findings) - MOST_LINES),
        "others": [(what, kinds) for what, kinds in other_lines(comparison) if kinds],
        "rule": RULE,
        "steps": step_tables(comparison),
        "folders": [run_record.name for run_record in run_records],
    }


def _diagnoses(comparison: Comparison) -> Iterator[tuple[str, str]]:
    """Those that were kept, by the name of the run."""
    for name, run_record in zip(comparison.names.each, comparison.run_records, strict=True):
        if sentence := diagnosis_sentence(run_record):
            yield f"Diagnosis, {name}", sentence


def _in_short(run_record: RunRecord) -> str:
    """When a run was, and what its verdicts came to."""
    return f"{date_of(run_record)}: {overall_of(run_record, run_outcome_of(run_record)).word}"


def title_of(comparison: Comparison) -> str:
    """The unit and what is compared of it, or the units."""
    units = list(dict.fromkeys(run_record.unit for run_record in comparison.run_records))
    return f"{units[0]}: {comparison.names.what}" if len(units) == 1 else " and ".join(units)


def _boxes(comparison: Comparison, missing: Sequence[str]) -> Iterator[Box]:
    is_asked = {"controls on record"} if comparison.names.what == "positions of a control" else set()
    if differ := [name for name in unlike(comparison.run_records) if name not in is_asked]:
        text = f"What should be the same and is not: {', '.join(differ)}. A difference may come from that."
        yield Box("The runs were not made under the same conditions", "untold", (text,))
    for run_record in comparison.run_records:
        yield from evidence_boxes(run_record.findings, where=f": {run_record.name}")
        if run_record.missing:
            yield Box(f"Missing from {run_record.name}", "untold", items=run_record.missing)
    if missing:
        yield Box("Pictures that could not be drawn", "untold", items=tuple(missing))
