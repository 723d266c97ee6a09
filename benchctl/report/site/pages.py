"""The site's own pages: what each of them needs is gathered here, and printed by its template, which escapes it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from benchctl.report.site.newest_table import newest_tables
from benchctl.report.site.units import RunPage, UnitPage
from benchctl.report.templating import printed

ON_ONE_PAGE = 100
COMPARE = "compare.html"
INDEX = "index.html"


@dataclass(frozen=True)
class Collection:
    """All that is published. `with_owner`: the pages of runs name people. `has_feed`: there is one."""

    title: str
    units: tuple[UnitPage, ...]
    with_owner: bool = False
    has_feed: bool = False

    @cached_property
    def runs(self) -> tuple[RunPage, ...]:
        """Every run, newest first."""
        runs = (run for unit in self.units for run in unit.runs)
        return tuple(sorted(runs, key=lambda run: (run.card.began, run.page), reverse=True))

    @cached_property
    def marks(self) -> tuple[str, ...]:
        """What runs that are no measurements are called, each once."""
        return _marks(self.runs)

    @property
    def pages_of_units(self) -> int:
        """How many pages the list of units has: one at least."""
        return max(1, -(-len(self.units) // ON_ONE_PAGE))


def _marks(runs: Iterable[RunPage]) -> tuple[str, ...]:
    return tuple(sorted({run.card.mark for run in runs} - {""}))


def units_page_name(number: int) -> str:
    """units.html, units-2.html; the first is number 1."""
    return "units.html" if number == 1 else f"units-{number}.html"


def index_page(collection: Collection) -> str:
    """The newest runs, with search and sorting of all."""
    return _printed("index.html", collection, "", runs=collection.runs[:ON_ONE_PAGE], count=len(collection.runs))


def units_page(collection: Collection, number: int) -> str:
    """One page of the list of units, which needs no script."""
    first = (number - 1) * ON_ONE_PAGE
    others = [(each, units_page_name(each)) for each in range(1, collection.pages_of_units + 1)]
    return _printed(
        "units.html",
        collection,
        "",
        units=collection.units[first : first + ON_ONE_PAGE],
        number=number,
        others=others if len(others) > 1 else [],
    )


def unit_page(collection: Collection, unit: UnitPage) -> str:
    """A unit with its newest figures and all of its runs."""
    return _printed(
        "unit.html",
        collection,
        "../../",
        unit=unit,
        tables=newest_tables(unit),
        marks=_marks(unit.runs),
    )


def compare_page(collection: Collection) -> str:
    """The comparison, which is made in the browser."""
    return _printed("compare.html", collection, "")


def _printed(template: str, collection: Collection, top: str, **contents: Any) -> str:
    """`top`: the way from the page to the top of the site."""
    shared = {"site": collection, "top": top, "compare": COMPARE, "marks": collection.marks}
    return printed(template, shared | contents, "benchctl.report.site")
