"""What a kept diagnosis of a run says, in a few sentences; nothing is fitted here."""

from __future__ import annotations

from benchctl.fit.diagnosis.kept import kept_diagnosis
from benchctl.report.reading.run_record import RunRecord

MOST_CAUSES = 3


def diagnosis_sentence(run_record: RunRecord) -> str:
    """The strongest causes, with the run that it was held against; '' where no diagnosis was kept."""
    kept = kept_diagnosis(run_record.folder)
    if kept is None:
        return ""
    said = [f"{each[:1].upper()}{each[1:]}." for each in kept.named[:MOST_CAUSES] or (kept.first_sentence,)]
    if more := len(kept.named[MOST_CAUSES:]):
        said.append(f"And {more} more.")
    if kept.before:
        said.append(f"Held against the run {kept.before}.")
    return " ".join(said)
