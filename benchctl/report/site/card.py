"""What the site's own pages say of a run, in short. Everything else is on the run's page."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

from benchctl.archive.journal.notes import notes_of
from benchctl.archive.tables.run_identity import run_identity_of
from benchctl.report.headline.power import Claim, claim_of
from benchctl.report.headline.writing import headline_of
from benchctl.report.reading.run_outcome import run_outcome_of
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.people import workshop_of
from benchctl.report.sections.simulated import mark_of
from benchctl.report.sections.verdicts import overall_of
from benchctl.report.site.points import Point, points_of
from benchctl.report.words.names import length_for
from benchctl.report.words.quantities import said, setting

_STAMP = re.compile(r"(\d{8}-\d{6})(?=-|$)")
_CHANGED = "folder changed after the run"
_LONGEST_FINDING = 60  # a cell's worth; the whole sentence is on the unit's page and the run's


@dataclass(frozen=True)
class RunCard:
    """One run, as index, unit pages, comparison and feed tell it.

    `mark` is empty for a measurement, else what stands beside its verdict: simulated, replayed, perhaps simulated.
    `remark` is empty for a run that came to its end, left the bench safe, and whose folder is as the run left it.
    `began` and `updated` are UTC as in 2026-11-24T22:10:03Z, or empty where that is not known; `updated` is later where
    notes were added. `watts` is the clean power that the run is known by, None where it is known by something else.
    """

    name: str
    amplifier: str
    serial: str
    sequence: str
    workshop: str
    began: str
    updated: str
    verdict: str
    look: str
    remark: str
    mark: str
    headline: str
    found: str
    watts: float | None
    rated: tuple[tuple[float, float], ...]
    points: tuple[Point, ...]

    @property
    def unit(self) -> str:
        """HX 2150, serial 17."""
        return f"{self.amplifier}, serial {self.serial}" if self.serial else self.amplifier

    @property
    def date(self) -> str:
        """As people read it."""
        return self.began[:16].replace("T", " ") or "not known"

    @property
    def stamp(self) -> str:
        """The time at the beginning of the folder's name; empty where it was renamed."""
        stamp = _STAMP.match(self.name)
        return stamp[1] if stamp else ""


def card_of(run_record: RunRecord) -> RunCard:
    """What there is to say of a run, as far as its folder tells."""
    amplifier, outcome = run_record.amplifier, run_outcome_of(run_record)
    overall, headline, mark = overall_of(run_record, outcome), headline_of(run_record), mark_of(run_record)
    claim = claim_of(run_record.entries, amplifier)
    is_clean = claim is not None and claim.row.is_clean and not claim.figure.contradiction
    began, workshop = _began(run_record), workshop_of(run_record)
    identity = run_identity_of(run_record.events)
    return RunCard(
        name=run_record.name,
        amplifier=amplifier.title if amplifier else identity.amplifier or run_record.unit,
        serial=(amplifier.serial or "") if amplifier else identity.serial,
        sequence=run_record.title,
        workshop=workshop.name if workshop else "",
        began=began,
        updated=_updated(run_record, began),
        verdict=overall.word,
        look=overall.look,
        remark=", ".join(filter(None, [headline.ending, _CHANGED if run_record.findings.changed else ""])),
        mark=mark.word if mark else "",
        headline=str(headline),
        found=_claim_in_words(claim) if claim is not None and is_clean else _shortened(headline.lead.text),
        watts=claim.figure.value if claim is not None and is_clean else None,
        rated=tuple((line.load_ohm, line.power_w) for line in amplifier.rated) if amplifier else (),
        points=points_of(run_record),
    )


def _claim_in_words(claim: Claim) -> str:
    """159 W into 4 ohm; 193 W for one cycle into 4 ohm."""
    load_ohm = claim.conditions.load_ohm
    length = "" if claim.length is None else f"for {length_for(claim.length)}"
    load = "" if load_ohm is None else f"into {setting(load_ohm, 'ohm')}"
    return " ".join(filter(None, [said(claim.figure), length, load]))


def _shortened(text: str) -> str:
    return text if len(text) <= _LONGEST_FINDING else f"{text[:_LONGEST_FINDING].rsplit(' ', 1)[0]} ..."


def _began(run_record: RunRecord) -> str:
    """From the folder's name, which has the second; else from the journal of a run in real time."""
    stamp = _STAMP.match(run_record.name)
    walls = [str(event["wall"]) for event in run_record.events[:1]] if not run_record.is_dry else []
    if stamp:
        return _utc(f"{stamp[1][:8]}T{stamp[1][9:]}") or _utc(*walls)
    return _utc(*walls)


def _updated(run_record: RunRecord, began: str) -> str:
    """When there was something new to read: the run, or the last note of it."""
    return max([began, *(_utc(note.wall) for note in notes_of(run_record.events))]) if began else ""


def _utc(wall: str = "") -> str:
    """As RFC 3339 has it, in whole seconds; empty where it is no time."""
    try:
        return f"{datetime.fromisoformat(wall):%Y-%m-%dT%H:%M:%S}Z" if wall else ""
    except ValueError:
        return ""
