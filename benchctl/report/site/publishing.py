"""Publishes the runs of a folder as a site: makes the pages that changed, removes those of runs that are gone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from html import escape
from pathlib import Path

from benchctl.archive.tables.figures_csv import figures_table
from benchctl.archive.tables.run_identity import run_identity_of
from benchctl.errors import UsageError
from benchctl.report.page import report_page
from benchctl.report.pictures.gallery import gallery_of
from benchctl.report.reading.run_record import read_run_record
from benchctl.report.site.choosing import Chosen, Source, Tell, chosen_in
from benchctl.report.site.feed import address_of
from benchctl.report.site.own_files import own_files
from benchctl.report.site.pages import INDEX, Collection
from benchctl.report.site.site_folder import SiteFolder, few
from benchctl.report.site.sources import page_source
from benchctl.report.site.units import RunPage, units_of

TITLE = "Tests of amplifiers"


@dataclass(frozen=True)
class Settings:
    """What to publish, and how. `url`: the address at which the site will be, which the feed needs."""

    title: str = TITLE
    url: str = ""
    with_simulated: bool = False
    with_owner: bool = False


@dataclass(frozen=True)
class Published:
    """What came of it. `made`, `unchanged`: pages of runs; `removed`: files of runs that are gone; `simulated`,
    `left_out`: see `Chosen`; `warnings`: what a person should look at."""

    index: Path
    units: int
    runs: int
    made: int
    unchanged: int
    removed: int
    simulated: int
    left_out: tuple[str, ...] = ()
    warnings: tuple[str, ...] = field(default=())


def publish(runs: Path, out: Path, settings: Settings, tell: Tell = lambda *_: None) -> Published:
    """Make the site of all runs below the folder `runs` in the folder `out`, or bring it up to date.

    Raises:
        UsageError: there is no folder `runs`; nothing in it can be published; `out` may not be written into; the
            address is none.
        ArchiveError: a file of the site cannot be written.
    """
    url = address_of(settings.url) if settings.url else ""
    site = SiteFolder.open(out, runs)
    chosen, forgotten = chosen_in(runs, tell, with_simulated=settings.with_simulated)
    if not chosen.sources:
        raise UsageError(f"there is nothing to publish in {runs}: {_why_nothing(chosen)}")
    units = tuple(units_of({place: source.card for place, source in chosen.sources.items()}))
    collection = Collection(settings.title, units, settings.with_owner, has_feed=bool(url))
    made = _write(site, collection, chosen.sources, url, tell)
    return Published(
        index=out / INDEX,
        units=len(units),
        runs=len(chosen.sources),
        made=made,
        unchanged=len(chosen.sources) - made,
        removed=site.removed,
        simulated=chosen.simulated,
        left_out=tuple(chosen.left_out),
        warnings=tuple(_warnings(site, forgotten)),
    )


def _why_nothing(chosen: Chosen) -> str:
    simulated = f"{chosen.simulated} simulated runs are left out unless --with-simulated is given"
    reasons = [*([simulated] if chosen.simulated else []), *chosen.left_out]
    return "; ".join(reasons) or "it holds no run folder"


def _write(site: SiteFolder, collection: Collection, sources: Mapping[str, Source], url: str, tell: Tell) -> int:
    """Write every file that changed; returns how many pages of runs were made."""
    own = dict(own_files(collection, url))
    of_runs = [name for run in collection.runs for name in (run.page, run.table)]
    site.claim([*own, *of_runs])
    made = 0
    for number, run in enumerate(collection.runs, start=1):
        tell("pages", number, len(collection.runs))
        made += _write_run(site, collection, run, sources[run.place])
    for name, content in own.items():
        site.write(name, content)
    site.finish([*own, *of_runs])
    return made


def _write_run(site: SiteFolder, collection: Collection, run: RunPage, source: Source) -> bool:
    """The page of a run and its table of figures, unless they are there already; returns whether they were made."""
    ways = (
        ("../../index.html", collection.title),
        ("index.html", run.card.unit),
        (f"{run.name}.csv", "All figures as CSV"),
    )
    made_from = page_source(source.content, ways, collection.with_owner)
    if site.is_current(run.page, made_from) and site.is_current(run.table, made_from):
        return False
    record = read_run_record(source.folder)
    page = report_page(record, gallery_of(record), with_owner=collection.with_owner, ways=ways)
    site.write(run.table, figures_table(record.entries, run_identity_of(record.events)), made_from)
    site.write(run.page, _without_path(page, source.folder).encode("utf-8"), made_from)
    return True


def _without_path(page: str, folder: Path) -> str:
    """A message about a damaged folder names it by its path; where somebody keeps his runs is nobody else's business,
    and the same runs elsewhere must give the same page."""
    for path in dict.fromkeys([str(folder.resolve()), str(folder.absolute()), str(folder)]):
        page = page.replace(escape(path), escape(folder.resolve().name))
    return page


def _warnings(site: SiteFolder, forgotten: str) -> Iterator[str]:
    if forgotten:
        yield f"what was read is not remembered, so the next publication takes as long: {forgotten}"
    if site.left:
        yield f"not removed, because somebody has changed them: {', '.join(site.left)}"
    if foreign := list(site.foreign()):
        yield f"files in the site that benchctl did not make are left as they are: {few(foreign)}"
