"""What a page is made from, as a hash: the run folder's content, and the program that makes pages of it.

To hash ten thousand folders takes minutes, so what they held is kept in the user's cache, beside the sizes and times of
their files. It can be made again at any time and changes nothing in the site.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from importlib.metadata import version
from importlib.resources import files
from importlib.resources.abc import Traversable
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from benchctl.archive.collection.indexed.index_file import cache_of
from benchctl.archive.files import disk_errors, read_bytes, write_whole
from benchctl.errors import ArchiveError
from benchctl.measure.method import METHOD
from benchctl.report.site.card import RunCard

# What is in a run folder and on no page: pages and pictures made of it, and what the instruments said.
_NOT_SHOWN = ("report.html", "report-with-owner.html", "sheet.html", "sheet.pdf", "traffic.jsonl.gz", "pictures")


@dataclass(frozen=True)
class Known:
    """A run folder as it was last read. `listing`: hash of the sizes and times of its files; `content`: of what they
    held. A run that is no measurement may not have been read whole: both of the others are then empty."""

    listing: str
    content: str = ""
    card: RunCard | None = None


_KNOWN = TypeAdapter(dict[str, Known])


def page_source(content: str, *more: object) -> str:
    """The hash of all that a page is made from: a folder's content, and what else it depends on."""
    return _hash(iter([maker(), content, *map(repr, more)]))


@cache
def maker() -> str:
    """Changes with all that makes a page: the version, the method of computing figures, the code of the pages."""
    parts = [version("benchctl"), str(METHOD), *_code(files("benchctl.report"))]
    return sha256("\n".join(parts).encode("utf-8")).hexdigest()[:16]


def _code(folder: Traversable) -> Iterator[str]:
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.is_dir() and entry.name != "__pycache__":
            yield from _code(entry)
        elif entry.is_file():
            yield entry.name
            yield entry.read_text(encoding="utf-8")


def listing_of(folder: Path) -> str:
    """Sizes and times of all files of a run folder; another one for another version of the program.

    Raises:
        ArchiveError: it cannot be listed.
    """
    with disk_errors("read", folder):
        found = [f"{name} {status.st_size} {status.st_mtime_ns}" for name, status in _files(folder)]
    return _hash(iter([maker(), *found]))


def content_of(folder: Path) -> str:
    """What all files of a run folder hold.

    Raises:
        ArchiveError: one of them cannot be read.
    """
    with disk_errors("read", folder):
        names = [name for name, _ in _files(folder)]
    return _hash(f"{name} {sha256(_bytes(folder / name)).hexdigest()}" for name in names)


def _bytes(path: Path) -> bytes:
    """A pipe or a device in the folder is no part of the run; a page that cannot read it says so."""
    try:
        return read_bytes(path)
    except ArchiveError as error:
        return error.message.encode("utf-8", errors="replace")


def _files(folder: Path) -> list[tuple[str, os.stat_result]]:
    found = []
    for root, _, names in os.walk(folder):
        for name in names:
            path = Path(root, name)
            relative = path.relative_to(folder).as_posix()
            if relative.split("/")[0] not in _NOT_SHOWN:
                found.append((relative, path.lstat()))
    return sorted(found, key=lambda each: each[0])


def _hash(lines: Iterator[str]) -> str:
    digest = sha256()
    for line in lines:
        digest.update(f"{line}\n".encode("utf-8", errors="surrogateescape"))
    return digest.hexdigest()[:32]


class Memory:
    """What is known of the run folders below one folder."""

    def __init__(self, runs: Path) -> None:
        self._file = cache_of(runs, "sites", ".json")
        self._known = self._read()
        self._seen: dict[str, Known] = {}

    def of(self, place: str, listing: str) -> Known | None:
        """What is known of a folder that has not changed since."""
        known = self._known.get(place)
        return known if known is not None and known.listing == listing else None

    def keep(self, place: str, known: Known) -> None:
        """Remember it for the next time. What is not kept is forgotten."""
        self._seen[place] = known

    def save(self) -> str:
        """Write it; returns why that was not possible, or nothing. Without it the next publication takes longer."""
        try:
            with disk_errors("create", self._file.parent):
                self._file.parent.mkdir(parents=True, exist_ok=True)
            write_whole(self._file, _KNOWN.dump_json(self._seen))
        except ArchiveError as error:
            return error.message
        return ""

    def _read(self) -> dict[str, Known]:
        try:
            return _KNOWN.validate_json(read_bytes(self._file))
        except (ArchiveError, ValidationError):  # the first time, or written by another version
            return {}
