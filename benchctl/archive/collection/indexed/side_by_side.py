"""Thousands of folders are read into an index by several processes, each of which takes every second, third or fourth.

They are programs of their own, not copies of the one that asks: it may be a notebook, or have threads. Whatever one of
them leaves undone is read by the one that asks.
"""

from __future__ import annotations

import gc
import os
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

# With fewer folders, starting Python takes longer than it saves.
WORTH_IT = 1000
MOST = 4


def shares(folders: int) -> int:
    """Among how many processes so many folders are divided."""
    return min(MOST, os.cpu_count() or 1) if folders >= WORTH_IT else 1


@contextmanager
def others_reading(root: Path, index: Path, of: int) -> Iterator[None]:
    """All shares but the first are read while the block lasts, and are done when it ends."""
    program = [sys.executable, "-m", __name__, str(root.resolve()), str(index.resolve())]
    started = [
        subprocess.Popen(
            [*program, str(share), str(of)],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        for share in range(1, of)
    ]
    try:
        yield
        for process in started:
            process.wait()
    finally:
        for process in started:
            if process.poll() is None:
                process.terminate()
                process.wait()


def main(root: str, index: str, share: str, of: str) -> None:
    """One of the others."""
    from benchctl.archive.collection.folders import found_below  # noqa: PLC0415 - they start this program
    from benchctl.archive.collection.indexed.index_file import opened_index  # noqa: PLC0415
    from benchctl.archive.collection.indexed.renewing import Changes, bring_up_to_date, changes  # noqa: PLC0415

    gc.disable()  # nothing that is read here keeps itself alive, and this program ends when it has read it
    found, _ = found_below(Path(root))
    with closing(opened_index(Path(index))) as connection:
        fresh = changes(connection, found[int(share) :: int(of)]).fresh
        bring_up_to_date(connection, Changes(fresh))


if __name__ == "__main__":
    main(*sys.argv[1:])
