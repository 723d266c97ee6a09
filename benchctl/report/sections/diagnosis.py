"""What a kept diagnosis of a run says, in a sentence; nothing is fitted here."""

from __future__ import annotations

from benchctl.fit.diagnosis.kept import kept_diagnosis
from benchctl.report.reading.run_record import RunRecord


def diagnosis_sentence(run_record: RunRecord) -> str:
    """With the run that it was held against; '' where no diagnosis was kept."""
    kept = kept_diagnosis(run_record.folder)
    if kept is None:
        return ""
    sentence = kept.first_sentence[:1].upper() + kept.first_sentence[1:]
    return f"{sentence}. Held against the run {kept.before}." if kept.before else f"{sentence}."
