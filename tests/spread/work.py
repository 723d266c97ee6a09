"""Work for other processes: they import it from here by name."""

from __future__ import annotations

import os
import sys
import time
from pathlib import Path


def doubled(number: int) -> int:
    """Twice the number; the later ones are done sooner."""
    if number == 13:
        raise ValueError("13 cannot be doubled here")
    return 2 * number


def kills_at_three(number: int) -> int:
    """Ends its own process at 3, as the system does with one that uses too much memory."""
    if number == 3:
        os._exit(9)
    return number


def process_of(file: str) -> int:
    """Say in a file which process works, and work until it is ended."""
    with Path(file).open("a", encoding="utf-8") as told:
        told.write(f"{os.getpid()}\n")
    time.sleep(600)
    return 0


if __name__ == "__main__":
    from benchctl.spread.here import Here

    for _ in Here(2).each(process_of, [sys.argv[1]] * 2):
        pass
