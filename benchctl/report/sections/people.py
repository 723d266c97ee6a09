"""Whose unit it is, who tested it, and where. What names a person is told only to whom it may be told.

The page that anybody may read has the workshop, the complaint, and the tester if the bench file makes the name public.
Owner, contact, reference and workshop's contact are for the owner's sheet, and for a page that is made with them.
"""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.archive.files import read_bytes
from benchctl.documents.amplifier_file.unit import Unit
from benchctl.documents.bench_file.workshop import Workshop
from benchctl.errors import ArchiveError, UsageError
from benchctl.photograph import as_logo
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.notes import as_data


def unit_of(run_record: RunRecord) -> Unit:
    """What the amplifier file says of whose unit it is."""
    return (run_record.amplifier.unit if run_record.amplifier else None) or Unit()


def workshop_of(run_record: RunRecord) -> Workshop | None:
    """What the bench file says of the workshop."""
    return run_record.bench.workshop if run_record.bench else None


def people_facts(run_record: RunRecord, *, with_owner: bool) -> Iterator[tuple[str, str]]:
    """Name and text of each fact about owner, complaint, workshop and tester that may be told."""
    unit, workshop = unit_of(run_record), workshop_of(run_record)
    if with_owner:
        yield from _told({"Owner": unit.owner, "Contact": unit.contact, "Owner's reference": unit.reference})
    yield from _told({"Complaint": unit.complaint})
    if workshop is not None:
        yield "Workshop", workshop.name
        if with_owner:
            yield from _told({"Workshop's contact": workshop.contact})
        if with_owner or workshop.tester_is_public:
            yield from _told({"Tested by": workshop.tester})


def _told(facts: dict[str, str | None]) -> Iterator[tuple[str, str]]:
    yield from ((name, text) for name, text in facts.items() if text)


def logo_of(run_record: RunRecord) -> str:
    """The workshop's logo, as the address of itself; empty where the run kept none that can be read."""
    workshop = workshop_of(run_record)
    if workshop is None or workshop.logo is None:
        return ""
    try:
        content = read_bytes(run_record.folder.inputs / workshop.logo)
        return as_data(as_logo(content, workshop.logo), "image/png")
    except (ArchiveError, UsageError):  # changed or gone: what the folder has to tell of that is told elsewhere
        return ""
