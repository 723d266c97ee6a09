"""The page on a bench's life: what has drifted, the control charts, and how they are judged."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from benchctl.archive.drift.series import Series
from benchctl.archive.files import write_whole
from benchctl.report.drift.bench_life import BenchLife
from benchctl.report.drift.tables import calibrations_table, findings_table, values_table
from benchctl.report.drift.wording import by_chance_in_words, finding_of, headline_of, paragraphs
from benchctl.report.pictures.gallery import Gallery, drawn_of
from benchctl.report.pictures.over_months.control_chart import chart_pictures
from benchctl.report.sections.page_head import Box
from benchctl.report.sections.simulated import SOME_SIMULATED
from benchctl.report.templating import printed
from benchctl.report.words.days import span_in_words

_SECTIONS = {
    "found": "What was found",
    "charts": "Control charts",
    "zeros": "Zeros of the oscilloscope's inputs",
    "calibrations": "What calibrations found",
    "values": "The values",
    "left-out": "Runs that are left out",
    "how": "How it is judged",
}


def write_drift_page(life: BenchLife, out: Path) -> None:
    """Write the page to the file `out`.

    Raises:
        ArchiveError: it cannot be written.
    """
    write_whole(out, drift_page(life).encode("utf-8"))


def drift_page(life: BenchLife) -> str:
    """The page: the same for the same folders."""
    charted = [each for each in life.series if each.reference.kind != "zero" or each.present.judged.state in _CHARTED]
    gallery = drawn_of(iter([("the control charts", chart_pictures(charted))]))
    return printed("drift.html", _contents(life, charted, gallery))


# Of the many zeros only those are drawn that have something to show; a table has them all.
_CHARTED = frozenset({"one outside", "changed"})


def _contents(life: BenchLife, charted: Sequence[Series], gallery: Gallery) -> dict[str, Any]:
    zeros = [each for each in life.series if each.reference.kind == "zero"]
    others = [each for each in life.series if each.reference.kind != "zero"]
    contents: dict[str, Any] = {
        "found": findings_table("Gains and figures", others) if others else None,
        "charts": gallery.pictures,
        "zeros": findings_table("Zeros", zeros) if zeros else None,
        "calibrations": calibrations_table(life.calibrated),
        "values": [values_table(each) for each in charted],
        "left-out": life.left_out,
        "how": True,
    }
    return contents | {
        "sections": [(id_, title) for id_, title in _SECTIONS.items() if contents[id_]],
        "title": life.bench,
        "headline": headline_of(life.alarms, life.lone, life.judged, len(life.series)),
        "mark": SOME_SIMULATED if life.has_simulated else None,
        "boxes": list(_boxes(life, gallery.missing)),
        "facts": list(facts_of(life)),
        "pictures": gallery.pictures,
        "zeros_in_short": zeros_in_short(zeros),
        "left_out": life.left_out,
        "how": list(paragraphs()),
        "runs": life.runs,
    }


def facts_of(life: BenchLife) -> Iterator[tuple[str, str]]:
    """What it rests on."""
    yield "Runs", f"{life.runs}, {span_in_words(life.first, life.last)}"
    yield "Check standard", f"serial {life.standard}" if life.standard else "none named; --standard SERIAL names one"


def zeros_in_short(zeros: Sequence[Series]) -> str:
    """How many zeros there are, and how many of them are what."""
    words = [finding_of(each).word for each in zeros]
    counts = ", ".join(f"{words.count(word)} {word}" for word in dict.fromkeys(words))
    return f"{len(zeros)} zeros, each of an input on one of its ranges: {counts}."


def _boxes(life: BenchLife, missing: Sequence[str]) -> Iterator[Box]:
    for each in life.alarms:
        found = finding_of(each)
        yield Box(f"Changed: {each.reference.what}", "fails", tuple(filter(None, (f"{found.text}.", found.means))))
    if life.lone:
        chance = f"Of all values here chance alone puts {by_chance_in_words(life.judged)} outside."
        yield Box("One value outside", "untold", (f"It may be that run's alone. {chance}",), _items(life.lone))
    if life.passing:
        yield Box("Changed for a time", "untold", items=_items(life.passing))
    if life.overdue:
        yield Box("Calibration was overdue on the day of the newest run", "untold", items=life.overdue)
    if missing:
        yield Box("Pictures that could not be drawn", "untold", items=tuple(missing))


def _items(series: Sequence[Series]) -> tuple[str, ...]:
    return tuple(f"{each.reference.what}: {finding_of(each).text}" for each in series)
