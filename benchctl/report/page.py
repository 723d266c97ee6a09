"""The page of one run: what it needs is gathered here, and printed by its template, which escapes all of it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import jinja2

from benchctl.archive.files import write_whole
from benchctl.quantity import clock_face
from benchctl.report.course import StepTaken, steps_taken
from benchctl.report.ending import Ending, ending_of
from benchctl.report.figures import figures_by_step
from benchctl.report.story import Story, read_story
from benchctl.report.verdicts import DECISION_RULE, overall


@dataclass(frozen=True)
class Box:
    """What must not be overlooked; `look` as of a verdict."""

    title: str
    look: str
    texts: tuple[str, ...] = ()
    items: tuple[str, ...] = ()


def write_report(path: Path, out: Path | None = None) -> Path:
    """Write the page of the run folder at `path` into it, or to the file `out`; returns where it is.

    Raises:
        UsageError: there is no run folder at `path`.
        ArchiveError: its journal cannot be opened, or the page cannot be written.
    """
    story = read_story(path)
    page = story.folder.report if out is None else out
    write_whole(page, report_page(story).encode("utf-8"))
    return page


def report_page(story: Story) -> str:
    """The page: the same for the same folder."""
    return printed("report.html", **_contents(story))


def printed(template: str, **contents: Any) -> str:
    """A template filled in; whatever comes from outside is escaped."""
    environment = jinja2.Environment(
        loader=jinja2.PackageLoader("benchctl.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    return environment.get_template(template).render(contents).lstrip()


def _contents(story: Story) -> dict[str, Any]:
    steps, ending = steps_taken(story.events), ending_of(story)
    figures = [figure for entry in story.entries for figure in entry.figures]
    unmeasured = [step for step in steps if step.unmeasured]
    return {
        "is_dry": story.is_dry,
        "unit": story.unit,
        "title": story.title,
        "purpose": story.sequence.purpose if story.sequence else "",
        "overall": overall(figures, len(unmeasured), ending),
        "boxes": list(_boxes(story, ending, unmeasured)),
        "facts": list(_facts(story, ending)),
        "figures": figures_by_step(story.entries, steps, story.amplifier),
        "decision_rule": DECISION_RULE,
        "footer": _footer(story),
    }


def _boxes(story: Story, ending: Ending, unmeasured: list[StepTaken]) -> Iterator[Box]:
    if ending.unconfirmed:
        yield Box(
            "Not safe: instruments did not confirm the safe state",
            "fails",
            texts=tuple(filter(None, [ending.guardian])),
            items=tuple(f"{part}. By hand: {part.by_hand}." for part in ending.unconfirmed),
        )
    elif not ending.is_told and not story.is_dry:
        yield Box(
            "Nobody knows whether the bench is safe" if not ending.guardian else "The run was cut off",
            "fails",
            texts=(ending.guardian or "The journal ends without a word on it. Look at each instrument's own display, "
                   "or run: benchctl safe --bench BENCH",),
        )  # fmt: skip
    for warnings in story.of_kind("warnings accepted"):
        reason = f"Reason given: {warnings.get('reason', '')}"
        yield Box("Warnings of preflight that were waived", "untold", (reason,), tuple(warnings.get("warnings", ())))
    if unmeasured:
        items = tuple(f"{step.label}: {step.unmeasured}" for step in unmeasured)
        yield Box("Steps that gave no figures", "untold", items=items)
    if story.missing:
        yield Box("Missing from the run folder", "untold", items=story.missing)


def _facts(story: Story, ending: Ending) -> Iterator[tuple[str, str]]:
    yield "How it ended", ending.words
    yield "Exit code", ending.code_in_words
    yield "Date", _date(story)
    yield "Took", f"{clock_face(story.duration_s)}{' of virtual time' if story.is_dry else ''}"
    if story.bench:
        yield "Bench", story.bench.title
    if settings := story.began.get("settings"):
        yield "Parameters set", ", ".join(f"{name}={value}" for name, value in settings.items())
    yield "Run folder", story.folder.path.resolve().name


def _date(story: Story) -> str:
    """The day on which the folder was made, which its name begins with; the journal's own where it was renamed."""
    made = re.match(r"(\d{8}-\d{6})-", story.folder.path.resolve().name)
    if made:
        return f"{datetime.strptime(made[1], '%Y%m%d-%H%M%S'):%Y-%m-%d %H:%M} UTC"
    walls = [str(event["wall"]) for event in story.events]
    return f"{walls[0][:16].replace('T', ' ')} UTC" if walls and not story.is_dry else "not known"


def _footer(story: Story) -> str:
    version = story.began.get("versions", {}).get("benchctl", "of unknown version")
    return (
        f"Made by benchctl from the run folder {story.folder.path.resolve().name}, measured with benchctl {version}. "
        "benchctl verify computes every figure again from the captures."
    )
