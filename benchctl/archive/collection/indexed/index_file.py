"""The file of an index: in the user's cache, one for each folder of runs. It can be deleted at any time.

It never lies in the folder of runs, which may be a network drive, where SQLite's locks are not to be relied on.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from hashlib import sha256
from pathlib import Path

import platformdirs

# Names another folder than the user's cache.
CACHE_VARIABLE = "BENCHCTL_CACHE"

# Column -> its type in SQLite. `id` stands for the run beside its figures. `why` is not empty of a folder that cannot
# be read; nothing else is told of it then.
RUN_COLUMNS: Mapping[str, str] = {
    "id": "INTEGER PRIMARY KEY",
    "path": "TEXT UNIQUE",
    "journal_ns": "INTEGER",
    "journal_bytes": "INTEGER",
    "figures_ns": "INTEGER",
    "figures_bytes": "INTEGER",
    "why": "TEXT",
    "run": "TEXT",
    "began": "REAL",
    "duration_s": "REAL",
    "sequence": "TEXT",
    "amplifier": "TEXT",
    "amplifier_class": "TEXT",
    "serial": "TEXT",
    "bench": "TEXT",
    "simulation": "TEXT",
    "is_dry": "INTEGER",
    "version": "TEXT",
    "methods": "TEXT",
    "ending": "TEXT",
    "reason": "TEXT",
    "exit_code": "INTEGER",
    "is_safe": "INTEGER",
    "verdict": "TEXT",
    "counts": "TEXT",
    "notes": "TEXT",
    "problems": "TEXT",
}
# The columns behind those that say which folder it is, and whether it can be read.
TOLD_COLUMNS = tuple(RUN_COLUMNS)[7:]

# A higher number where the columns, or what is read of a run folder, change: an index of another number is not used.
SCHEMA = 1
# An index is written in parts of a second; whoever waits longer does without.
PATIENCE_S = 10.0
# What is written at once fits in; with less, SQLite writes it twice and keeps readers out.
CACHE_KB = 64_000

_TABLES = (
    "DROP TABLE IF EXISTS runs",
    "DROP TABLE IF EXISTS figures",
    f"CREATE TABLE runs ({', '.join(f'{name} {kind}' for name, kind in RUN_COLUMNS.items())})",
    "CREATE TABLE figures (run INTEGER, figure TEXT, rows TEXT)",
    "CREATE INDEX by_figure ON figures (figure)",
    "CREATE INDEX by_run ON figures (run)",
    f"PRAGMA user_version = {SCHEMA}",
)


def cache_of(root: Path, kind: str, ending: str) -> Path:
    """Where something about a folder of runs is kept that can be made again, whether it is there or not."""
    name = sha256(str(root.resolve()).encode("utf-8", errors="surrogateescape")).hexdigest()[:24]
    cache = os.environ.get(CACHE_VARIABLE) or platformdirs.user_cache_path("benchctl", appauthor=False)
    return Path(cache) / kind / f"{name}{ending}"


def index_path(root: Path) -> Path:
    """Where the index of a folder of runs is, whether it is there or not."""
    return cache_of(root, "runs", ".sqlite")


def opened_index(path: Path) -> sqlite3.Connection:
    """The index at `path`, made where it is missing, and made anew where it is of another version.

    Raises:
        sqlite3.Error, OSError: it cannot be opened; `is_damaged` says whether it is of any use.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    connection = sqlite3.connect(path, timeout=PATIENCE_S, isolation_level=None)
    try:
        connection.execute(f"PRAGMA cache_size = -{CACHE_KB}")
        if not _is_of_this_version(connection):
            _make_tables(connection)
    except sqlite3.Error:
        connection.close()
        raise
    return connection


def is_damaged(error: sqlite3.Error) -> bool:
    """Whether an error says that the file is no index, not that it is in use or must not be written. A table or column
    that is missing counts as an error of the statement."""
    if isinstance(error, sqlite3.OperationalError):
        return getattr(error, "sqlite_errorcode", None) == sqlite3.SQLITE_ERROR
    return isinstance(error, sqlite3.DatabaseError)


def index_to_read(path: Path) -> sqlite3.Connection | None:
    """The index as it is, to be read only; None if there is none that can be used at once."""
    if not path.is_file():
        return None
    with suppress(sqlite3.Error):
        connection = sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True, timeout=0.05)
        if _is_of_this_version(connection):
            return connection
        connection.close()
    return None


def index_in_memory() -> sqlite3.Connection:
    """An index that nothing is left of."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    _make_tables(connection)
    return connection


def _make_tables(connection: sqlite3.Connection) -> None:
    """Unless another process has just made them."""
    with writing(connection):
        if not _is_of_this_version(connection):
            for statement in _TABLES:
                connection.execute(statement)


@contextmanager
def writing(connection: sqlite3.Connection) -> Iterator[None]:
    """One transaction: all of it is written, or nothing."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
    except BaseException:
        with suppress(sqlite3.Error):  # it is rolled back in any case
            connection.execute("ROLLBACK")
        raise
    connection.execute("COMMIT")


def _is_of_this_version(connection: sqlite3.Connection) -> bool:
    return bool(connection.execute("PRAGMA user_version").fetchone()[0] == SCHEMA)


def remove(path: Path) -> None:
    """Delete an index and the journal of SQLite beside it."""
    for each in (path, path.with_name(f"{path.name}-journal")):
        with suppress(OSError):
            each.unlink()
