"""What a person sees of a publication: how far it is, and what came of it."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import Progress

from benchctl.report.site.choosing import Tell
from benchctl.report.site.publishing import Published


@contextmanager
def telling() -> Iterator[Tell]:
    """A bar on standard error while it lasts; nothing where that is no terminal."""
    console = Console(stderr=True)
    with Progress(console=console, transient=True, disable=not console.is_terminal) as progress:
        tasks: dict[str, object] = {}

        def tell(what: str, number: int, of: int) -> None:
            if what not in tasks:
                tasks[what] = progress.add_task(what, total=of)
            progress.update(tasks[what], completed=number)  # type: ignore[arg-type]

        yield tell


def lines_of(published: Published) -> Iterator[str]:
    """What was made, what was left out and why, what a person should look at."""
    yield f"Site: {published.index}"
    yield (
        f"{_count(published.runs, 'run')} of {_count(published.units, 'unit')}. Pages of runs made: {published.made}; "
        f"unchanged: {published.unchanged}. Files removed: {published.removed}."
    )
    if published.simulated:
        yield f"Left out: {_count(published.simulated, 'simulated run')}; --with-simulated publishes them, marked."
    for each in published.left_out:
        yield f"Left out: {each}"
    for warning in published.warnings:
        yield f"Warning: {warning}"


def _count(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"
