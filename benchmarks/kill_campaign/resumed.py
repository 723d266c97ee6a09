"""A run that was killed and resumed, compared with its journal at the kill and with an undisturbed run."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import Any

from benchctl.archive.folder import RunFolder
from benchctl.archive.journal.entries import FiguresEntry, entries_of
from benchctl.archive.journal.events import CLEAN_LEVEL
from benchctl.archive.journal.journal import parse_journal, read_journal
from benchctl.archive.tables.figures import figure_table, read_figures
from benchctl.archive.tables.run_identity import RunIdentity
from benchctl.measure.search.clean_level import RESOLUTION_DB

# The columns that identify a row's figure.
KEY = ["step", "load_ohm", "frequency_hz", "burst_cycles", "channel", "figure"]
# These depend on the past, and a bench that was killed many times is warmer than a fresh one.
HISTORY = {"heatsink_temperature"}
# They are read at a level that a search has found. It may stop anywhere within its resolution below the bound, and
# there distortion rises steeply: what it promises is the bound, and the power that belongs to it.
DISTORTION = {"thd", "thd_n"}
# It goes with the level there, because the peak stays where it is clipped: by no more than the level's own part.
CREST = {"crest_factor"}
SEARCHED_PART = 10 ** (RESOLUTION_DB / 20) - 1
Rows = dict[tuple[str, ...], dict[str, Any]]


def problems_of(folder: RunFolder, journal_at_the_kill: bytes, undisturbed: RunFolder) -> Iterator[str]:
    """What is not as promised: a journalled figure that is lost, or a table that differs from an undisturbed run's."""
    final = _rows(read_figures(folder).to_dict("records"))
    journalled = _rows_of(entries_of(parse_journal(journal_at_the_kill, folder.journal).events))
    for key in journalled.keys() - final.keys():
        yield f"{_words(key)} was in the journal and is not in figures.csv"
    reference = _rows(read_figures(undisturbed).to_dict("records"))
    for key in final.keys() ^ reference.keys():
        yield f"{_words(key)} is in one of resumed and undisturbed only"
    bound = _searched_bound(undisturbed)
    for key in final.keys() & reference.keys():
        figure = final[key]["figure"]
        if bound is not None and figure in DISTORTION:
            yield from _over(key, final[key], bound)
        else:
            room = SEARCHED_PART if bound is not None and figure in CREST else 0.0
            yield from _apart(key, final[key], reference[key], room)


def _searched_bound(folder: RunFolder) -> float | None:
    """The distortion that the run's searches kept to, a ratio; None if there was no search."""
    events = read_journal(folder.journal).events
    bounds = {float(event["thd_n"]) for event in events if event["event"] == CLEAN_LEVEL}
    return max(bounds, default=None)


def _over(key: tuple[str, ...], row: dict[str, Any], bound: float) -> Iterator[str]:
    """Whether the distortion at a level that was found clean is above the bound."""
    uncertainty = 0.0 if math.isnan(row["expanded_uncertainty"]) else row["expanded_uncertainty"]
    if row["value"] - uncertainty > bound:
        yield f"{_words(key)}: {row['value']:.6g}, searched for at most {bound:.6g}"


def _rows_of(entries: Iterable[FiguresEntry]) -> Rows:
    return _rows(figure_table(entries, RunIdentity()).to_dict("records"))


def _rows(records: Iterable[dict[Any, Any]]) -> Rows:
    return {tuple(str(record[name]) for name in KEY): record for record in records}


def _apart(key: tuple[str, ...], one: dict[str, Any], other: dict[str, Any], room: float) -> Iterator[str]:
    """Whether two figures differ by more than both uncertainties plus a part of the figure; a bound that holds is not
    compared."""
    if one["bound"] or other["bound"] or one["figure"] in HISTORY:
        return
    uncertainties = [row["expanded_uncertainty"] for row in (one, other)]
    if any(map(math.isnan, uncertainties)):  # none was given
        return
    if abs(one["value"] - other["value"]) > sum(uncertainties) + room * abs(other["value"]):
        yield f"{_words(key)}: {one['value']:.6g} {one['unit']}, undisturbed {other['value']:.6g}"


def _words(key: tuple[str, ...]) -> str:
    return " ".join(part for part in key if part not in {"", "nan", "None", "<NA>"})
