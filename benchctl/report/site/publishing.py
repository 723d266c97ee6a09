"""Publishes the runs of a folder as a site: makes the pages that changed, removes those of runs that are gone."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from benchctl.errors import ArchiveError, UsageError
from benchctl.report.site.choosing import Chosen, Source, Tell, chosen_in
from benchctl.report.site.feed import address_of
from benchctl.report.site.own_files import own_files
from benchctl.report.site.pages import INDEX, Collection
from benchctl.report.site.run_pages import PageTask, make_page
from benchctl.report.site.site_folder import SiteFolder, few
from benchctl.report.site.units import RunPage, units_of
from benchctl.spread.here import Here
from benchctl.spread.spread import Failure, Spread

TITLE = "Tests of amplifiers"
_MAKING = "making pages"
_FEW_PAGES = 4
_GOES_ON = "What was made is kept; publish again to go on, without this run if need be."


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


def publish(
    runs: Path, out: Path, settings: Settings, tell: Tell = lambda *_: None, spread: Spread | None = None
) -> Published:
    """Make the site of all runs below the folder `runs` in the folder `out`, or bring it up to date.

    `spread`: who makes the pages of runs; this process, unless given. All give the same bytes.

    Raises:
        UsageError: there is no folder `runs`; nothing in it can be published; `out` may not be written into; the
            address is none.
        ArchiveError: a file of the site cannot be written, or a page cannot be made.
    """
    url = address_of(settings.url) if settings.url else ""
    site = SiteFolder.open(out, runs)
    chosen, forgotten = chosen_in(runs, tell, with_simulated=settings.with_simulated)
    if not chosen.sources:
        raise UsageError(f"there is nothing to publish in {runs}: {_why_nothing(chosen)}")
    units = tuple(units_of({place: source.card for place, source in chosen.sources.items()}))
    collection = Collection(settings.title, units, settings.with_owner, has_feed=bool(url))
    own = dict(own_files(collection, url))
    tasks = [_task_of(run, chosen.sources[run.place], collection) for run in collection.runs]
    names = [*own, *(name for task in tasks for name in (task.page, task.table))]
    site.claim(names)
    with site.keeping_the_list():
        made = _make_pages(site, tasks, spread or Here(1), tell)
    for name, content in own.items():
        site.write(name, content)
    site.finish(names)
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
    simulated = [f"runs that are no measurements: {chosen.simulated}; --with-simulated publishes them, marked"]
    reasons = [*(simulated if chosen.simulated else []), *chosen.left_out]
    return "; ".join(reasons) or "it holds no run folder"


def _make_pages(site: SiteFolder, tasks: Sequence[PageTask], spread: Spread, tell: Tell) -> int:
    """Make the pages of runs that are not as they should be; returns how many."""
    stale = [task for task in tasks if not _is_current(site, task)]
    for number, (task, made) in enumerate(_hands(spread, len(stale)).each(make_page, stale), start=1):
        if isinstance(made, Failure):
            raise ArchiveError(f"the page of {task.folder} cannot be made: {made.why}", advice=_GOES_ON)
        site.write(task.table, made.table, task.source)
        site.write(task.page, made.page, task.source)
        tell(_MAKING, number, len(stale))
    return len(stale)


def _task_of(run: RunPage, source: Source, collection: Collection) -> PageTask:
    ways = (
        ("../../index.html", collection.title),
        ("index.html", run.card.unit),
        (f"{run.name}.csv", "All figures as CSV"),
    )
    return PageTask(source.folder.resolve(), run.page, run.table, ways, collection.with_owner, source.content)


def _is_current(site: SiteFolder, task: PageTask) -> bool:
    return site.is_current(task.page, task.source) and site.is_current(task.table, task.source)


def _hands(spread: Spread, pages: int) -> Spread:
    """A process of its own takes longer to start than a few pages take to make."""
    return spread if pages > _FEW_PAGES else Here(1)


def _warnings(site: SiteFolder, forgotten: str) -> Iterator[str]:
    if forgotten:
        yield f"what was read is not remembered, so the next publication takes as long: {forgotten}"
    if site.left:
        yield f"not removed, because somebody has changed them: {', '.join(site.left)}"
    if foreign := list(site.foreign()):
        yield f"files in the site that benchctl did not make are left as they are: {few(foreign)}"
