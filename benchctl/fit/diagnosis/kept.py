"""A diagnosis kept in a file beside the run folder, so that pages can show it without fitting anything.

It names the run by the first line of its journal: of another run nothing is shown.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter, ValidationError

from benchctl.archive.files import write_whole
from benchctl.archive.folder import RunFolder

ENDING = ".diagnosis.json"
FORM = "diagnosis 1"


@dataclass(frozen=True)
class KeptDiagnosis:
    """What pages show of it.

    Attributes:
        form: of the file.
        first_line: a hash of the first line of the run's journal.
        before: folder name of the earlier run; '' without one.
        first_sentence: the whole of it in a sentence.
        named: a sentence for each cause.
    """

    form: str
    first_line: str
    before: str
    first_sentence: str
    named: tuple[str, ...]


_KEPT = TypeAdapter(KeptDiagnosis)


def keep_diagnosis(folder: RunFolder, before: str, told: Mapping[str, Any]) -> Path:
    """Keep a diagnosis as data beside the run folder; returns where.

    Raises:
        ArchiveError: it cannot be written.
    """
    kept = {
        "form": FORM,
        "first_line": _first_line(folder),
        "before": before,
        "first_sentence": told["first_sentence"],
        "named": [named["sentence"] for named in told["named"]],
        "diagnosis": dict(told),
    }
    path = _beside(folder)
    write_whole(path, (json.dumps(kept, indent=2) + "\n").encode("utf-8"))
    return path


def kept_diagnosis(folder: RunFolder) -> KeptDiagnosis | None:
    """The diagnosis that was kept of this run; None where there is none. One that cannot be used says so itself."""
    path = _beside(folder)
    if not path.is_file():
        return None
    try:
        kept = _KEPT.validate_python(json.loads(path.read_bytes()))
    except (OSError, ValueError, ValidationError):
        return _unusable(f"{path.name} is damaged")
    if kept.form != FORM or kept.first_line != _first_line(folder):
        return _unusable(f"{path.name} is of another run or another version")
    return kept


def _unusable(why: str) -> KeptDiagnosis:
    sentence = f"{why}, so it is not shown; make it again with benchctl fit --keep"
    return KeptDiagnosis(FORM, "", "", sentence, ())


def _beside(folder: RunFolder) -> Path:
    path = folder.path.resolve()
    return path.with_name(path.name + ENDING)


def _first_line(folder: RunFolder) -> str:
    with folder.journal.open("rb") as journal:
        return sha256(journal.readline()).hexdigest()[:16]
