"""The mistakes that are planted, as a person makes them when writing a driver file from a manual."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

_LIST = Path(__file__).with_name("mistakes.yaml")


@dataclass(frozen=True)
class Mistake:
    """One mistake in a shipped driver file.

    Attributes:
        what: in words.
        role: of the instrument.
        driver: the shipped file.
        changes: text of the file -> what it is replaced by.
        unseen: why it cannot be found, in words; '' where it must be.
    """

    what: str
    role: str
    driver: str
    changes: tuple[tuple[str, str], ...]
    unseen: str = ""

    @property
    def name(self) -> str:
        """What a test is called after."""
        return f"{self.driver}: {self.what}"


def every() -> Iterator[Mistake]:
    """All of them, in the order of the list."""
    for driver, mistakes in yaml.safe_load(_LIST.read_text(encoding="utf-8")).items():
        for entry in mistakes:
            yield _mistake(driver, entry)


def _mistake(driver: str, entry: dict[str, Any]) -> Mistake:
    changes = tuple((str(old), str(new)) for old, new in entry["changes"].items())
    return Mistake(str(entry["what"]), driver.partition("/")[0], driver, changes, str(entry.get("unseen", "")))
