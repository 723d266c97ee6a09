"""All files of a site that are not a run's: lists, pages of units, comparison, feed, scripts and style."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.resources import files

from benchctl.report.site.catalogue import runs_script, unit_script, units_script
from benchctl.report.site.feed import FEED, feed_of
from benchctl.report.site.pages import (
    COMPARE,
    INDEX,
    Collection,
    compare_page,
    index_page,
    unit_page,
    units_page,
    units_page_name,
)
from benchctl.report.site.units import UnitPage

_SCRIPTS = ("site.js", "list.js", "drawing.js", "compare.js")


def own_files(collection: Collection, url: str = "") -> Iterator[tuple[str, bytes]]:
    """Name and content of each; a feed only where `url` says at which address the site will be."""
    yield "site.css", _text("benchctl.report", "templates/style.css") + _text("benchctl.report.site", "static/site.css")
    for script in _SCRIPTS:
        yield script, _text("benchctl.report.site", f"static/{script}")
    yield "units.js", units_script(collection.units).encode("ascii")
    yield "runs.js", runs_script(collection.units, collection.runs).encode("ascii")
    yield INDEX, _bytes(index_page(collection))
    yield COMPARE, _bytes(compare_page(collection))
    for number in range(1, collection.pages_of_units + 1):
        yield units_page_name(number), _bytes(units_page(collection, number))
    for unit in collection.units:
        yield from _files_of_unit(collection, unit)
    if url:
        yield FEED, feed_of(collection.runs, collection.title, url)


def _files_of_unit(collection: Collection, unit: UnitPage) -> Iterator[tuple[str, bytes]]:
    yield f"units/{unit.name}/index.html", _bytes(unit_page(collection, unit))
    yield f"units/{unit.name}/figures.js", unit_script(unit).encode("ascii")


def _text(package: str, name: str) -> bytes:
    return files(package).joinpath(name).read_text(encoding="utf-8").encode("utf-8")


def _bytes(page: str) -> bytes:
    """Half of a character, which no file can hold, comes out as a question mark."""
    return page.encode("utf-8", errors="replace")
