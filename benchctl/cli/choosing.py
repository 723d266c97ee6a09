"""The options with which `list`, `latest` and `find` choose among runs."""

from __future__ import annotations

import functools
import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from benchctl.cli.completing import complete_document, complete_serial
from benchctl.library import runs_root

if TYPE_CHECKING:
    from benchctl.archive.collection.indexed.index import Collection

VERDICTS = ("passes", "fails", "inconclusive", "no verdict")
# Fewer folders are read before anybody wonders.
_WORTH_TELLING = 500


def chosen(command: Callable[..., int]) -> Callable[..., int]:
    """What a run must be, as `filters`."""

    @functools.wraps(command)
    def with_filters(amplifier: str, serial: str, sequence: str, verdict: Any, **others: Any) -> int:
        from benchctl.archive.collection.filters import Filters  # noqa: PLC0415 - other commands share no part of it

        filters = Filters(
            amplifier=amplifier,
            serial=serial,
            from_=others.pop("from_"),
            to=others.pop("to"),
            sequence=sequence,
            verdict=verdict,
            is_simulated=others.pop("is_simulated"),
        )
        return command(filters=filters, **others)

    for option in reversed(_OPTIONS):
        with_filters = option(with_filters)
    return with_filters


def _first_instant(_context: click.Context, _option: click.Parameter, written: str | None) -> datetime | None:
    return None if written is None else _period(written)[0]


def _last_instant(_context: click.Context, _option: click.Parameter, written: str | None) -> datetime | None:
    """The end of that day, month or year."""
    return None if written is None else _period(written)[1]


def _period(written: str) -> tuple[datetime, datetime]:
    """The first instant of a day, a month or a year, and the first one after it."""
    found = re.fullmatch(r"(\d{4})(?:-(\d\d))?(?:-(\d\d))?", written, re.ASCII)
    try:
        if found is None:
            raise ValueError
        year, month, day = (int(part) if part else None for part in found.groups())
        assert year is not None  # the pattern has it
        begin = datetime(year, month or 1, day or 1, tzinfo=UTC)
        return begin, _next(begin, month, day)
    except ValueError:
        raise click.BadParameter(f"'{written}' is no date; write for example 2026-11-24, 2026-11 or 2026") from None


def _next(begin: datetime, month: int | None, day: int | None) -> datetime:
    if month is None:
        return begin.replace(year=begin.year + 1)
    if day is None:
        return begin.replace(year=begin.year + month // 12, month=month % 12 + 1)
    return datetime.fromtimestamp(begin.timestamp() + 86400.0, UTC)


_OPTIONS: tuple[Callable[[Callable[..., int]], Callable[..., int]], ...] = (
    click.option(
        "--amplifier",
        "-a",
        default="",
        metavar="AMPLIFIER",
        help="A part of its title, or its file or shipped name.",
        shell_complete=lambda _context, _option, begun: complete_document("amplifier", begun),
    ),
    click.option(
        "--serial",
        default="",
        metavar="SERIAL",
        help="The unit's serial number; * stands for any characters.",
        shell_complete=complete_serial,
    ),
    click.option(
        "--sequence",
        default="",
        metavar="SEQUENCE",
        help="A part of its title, or its file or shipped name.",
        shell_complete=lambda _context, _option, begun: complete_document("sequence", begun),
    ),
    click.option("--verdict", type=click.Choice(VERDICTS), help="The verdict on the whole run, as on its page."),
    click.option(
        "--from",
        "from_",
        metavar="DATE",
        callback=_first_instant,
        help="Begun then or later: 2026-11-24, 2026-11 or 2026.",
    ),
    click.option("--to", metavar="DATE", callback=_last_instant, help="Begun then or earlier; the date itself counts."),
    click.option(
        "--simulated/--measured",
        "is_simulated",
        default=None,
        help="Only runs with simulated instruments, or only those without.",
    ),
)


def looked_into(folder: Path | None, figure: str = "") -> Collection:
    """All runs below a folder; on standard error, that many folders are being read for the first time."""
    from benchctl.archive.collection.indexed.index import collection_of  # noqa: PLC0415 - see above

    return collection_of(folder or runs_root(), figure, on_reading=_tell_of_reading)


def _tell_of_reading(count: int) -> None:
    if count >= _WORTH_TELLING:
        click.echo(f"Reading {count} run folders that are new or were changed; the next time is quicker.", err=True)
