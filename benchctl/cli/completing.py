"""What the shell may complete a word to. It runs at each press of Tab: from the index as it is, without heavy
packages."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import closing, suppress
from typing import Literal

import click
from click.shell_completion import CompletionItem

from benchctl.library import Shelf, runs_root, shipped

Kind = Literal["sequence", "bench", "amplifier"]

LATEST = "latest"
_SHELVES: Mapping[Kind, Shelf] = {"sequence": "sequences", "bench": "benches", "amplifier": "amplifiers"}
# A document says what it is in its first lines.
_KIND = re.compile(rb"^benchctl:[ ]+(\w+)", re.MULTILINE)
_HEAD_BYTES = 2000
_MOST_FILES = 500


def complete_document(kind: Kind, incomplete: str) -> list[CompletionItem]:
    """Shipped names of a kind of document, and files of that kind in the folder that was begun."""
    names = [CompletionItem(name, help="shipped") for name in shipped(_SHELVES[kind]) if name.startswith(incomplete)]
    return [_folders(incomplete), *names, *(CompletionItem(file) for file in _files_of(kind, incomplete))]


def complete_run(_context: click.Context, _parameter: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """`latest`, serial numbers, run folders by name, and any folder."""
    words = [CompletionItem(LATEST, help="the newest run")]
    words += [CompletionItem(serial, help=title) for serial, title in _units().items()]
    if incomplete:
        words += [CompletionItem(name) for name in _run_names()]
    return [_folders(incomplete), *(word for word in words if word.value.startswith(incomplete))]


def complete_serial(_context: click.Context, _parameter: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Serial numbers of units that were tested."""
    return [CompletionItem(serial, help=title) for serial, title in _units().items() if serial.startswith(incomplete)]


def complete_figure(_context: click.Context, _parameter: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """Names of figures."""
    from benchctl.documents.model.figures import FIGURES  # noqa: PLC0415 - a long table

    return [
        CompletionItem(name, help=figure.meaning) for name, figure in FIGURES.items() if name.startswith(incomplete)
    ]


def complete_condition(context: click.Context, parameter: click.Parameter, incomplete: str) -> list[CompletionItem]:
    """The words of a condition: a figure first, and then what may follow it."""
    if not context.params.get(parameter.name or ""):
        return complete_figure(context, parameter, incomplete)
    words = ("at", "on", "of", "above", "below", "within", "outside")
    return [CompletionItem(word) for word in words if word.startswith(incomplete)]


def _folders(incomplete: str) -> CompletionItem:
    """Asks the shell for its own folders; it must come first, because it empties bash's list."""
    return CompletionItem(incomplete, type="dir")


def _files_of(kind: Kind, incomplete: str) -> Iterator[str]:
    begun, _ = os.path.split(incomplete)
    with suppress(OSError), os.scandir(begun or ".") as entries:
        names = sorted(entry.name for entry in entries if entry.name.endswith((".yaml", ".yml")))
        for file in (os.path.join(begun, name) for name in names[:_MOST_FILES]):
            if file.startswith(incomplete) and _kind_of(file) == kind:
                yield file


def _kind_of(file: str) -> str:
    try:
        with open(file, "rb") as opened:
            found = _KIND.search(opened.read(_HEAD_BYTES))
    except OSError:
        return ""
    return found[1].decode("ascii", errors="replace") if found else ""


def _units() -> Mapping[str, str]:
    """Serial number -> the amplifier's title."""
    units = _rows("SELECT DISTINCT serial, amplifier FROM runs WHERE serial <> '' ORDER BY serial")
    return {serial: title for serial, title in units}  # noqa: C416 - rows have a length that only the statement tells


def _run_names() -> Iterable[str]:
    """From the index, or from the folder itself if there is none."""
    if names := [place for (place,) in _rows("SELECT path FROM runs WHERE why = '' ORDER BY path DESC")]:
        return names
    with suppress(OSError):
        return sorted(path.name for path in runs_root().iterdir() if (path / "journal.jsonl").is_file())
    return ()


def _rows(statement: str) -> list[tuple[str, ...]]:
    """Nothing where there is no index, or it is in use."""
    import sqlite3  # noqa: PLC0415 - most words need none of it

    from benchctl.archive.collection.indexed.index_file import index_path, index_to_read  # noqa: PLC0415

    with suppress(sqlite3.Error, OSError):
        connection = index_to_read(index_path(runs_root()))
        if connection is not None:
            with closing(connection):
                return connection.execute(statement).fetchall()
    return []
