"""The units of a collection: each amplifier with its runs, newest first, and its newest value at each place."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from benchctl.report.site.card import RunCard
from benchctl.report.site.naming import distinct, safe_name, unit_name
from benchctl.report.site.points import Point

_INDEX = "index"  # the unit's own page, so no run's


@dataclass(frozen=True)
class RunPage:
    """A run: where its folder is below that of all runs, and the name that its files have in its unit's folder, without
    their endings."""

    card: RunCard
    place: str
    name: str
    folder: str

    @property
    def page(self) -> str:
        """Its page, from the top of the site."""
        return f"units/{self.folder}/{self.name}.html"

    @property
    def table(self) -> str:
        """Its figures.csv, from the top of the site."""
        return f"units/{self.folder}/{self.name}.csv"


@dataclass(frozen=True)
class Newest:
    """The newest value of a unit at one place, and the run that measured it."""

    point: Point
    run: RunPage


@dataclass(frozen=True)
class UnitPage:
    """One amplifier by its serial number; without one, all runs of its kind that name none. `runs`: newest first."""

    amplifier: str
    serial: str
    name: str
    runs: tuple[RunPage, ...]

    @property
    def title(self) -> str:
        """HX 2150, serial 17."""
        return f"{self.amplifier}, {self.serial_in_words}"

    @property
    def serial_in_words(self) -> str:
        return f"serial {self.serial}" if self.serial else "no serial number"

    @property
    def is_measured(self) -> bool:
        """Whether any of its runs is a measurement."""
        return any(not run.card.mark for run in self.runs)

    @property
    def telling(self) -> list[RunPage]:
        """The runs whose figures are shown as the unit's: of measurements, if there are any; newest first."""
        return [run for run in self.runs if not (run.card.mark and self.is_measured)]

    def newest(self) -> dict[object, Newest]:
        """Place -> its newest value."""
        found: dict[object, Newest] = {}
        for run in self.telling:
            for point in run.card.points:
                found.setdefault(point.place, Newest(point, run))
        return found

    @property
    def rated(self) -> Mapping[float, float]:
        """Load -> rated power, as the newest run had it on its plate."""
        return dict(next((run.card.rated for run in self.telling if run.card.rated), ()))


def units_of(cards: Mapping[str, RunCard]) -> list[UnitPage]:
    """Every unit, in the order of a catalogue. `cards`: place of the run's folder -> its card."""
    by_unit: dict[tuple[str, str], dict[str, RunCard]] = {}
    for place, card in cards.items():
        by_unit.setdefault((card.amplifier, card.serial), {})[place] = card
    names = distinct({unit: (unit_name(*unit), repr(unit)) for unit in by_unit})
    return [
        UnitPage(*unit, names[unit], _run_pages(by_unit[unit], names[unit])) for unit in sorted(by_unit, key=_in_order)
    ]


def _run_pages(cards: Mapping[str, RunCard], folder: str) -> tuple[RunPage, ...]:
    """Named by their time, which the folder of a unit nearly always has once."""
    names = distinct({place: (_run_name(card), place) for place, card in cards.items()})
    pages = (RunPage(card, place, names[place], folder) for place, card in cards.items())
    return tuple(sorted(pages, key=lambda page: (page.card.began, page.place), reverse=True))


def _run_name(card: RunCard) -> str:
    name = card.stamp or safe_name(card.name)
    return f"{name}-run" if name == _INDEX else name


def _in_order(unit: tuple[str, str]) -> tuple[object, ...]:
    """Numbers by their size: HX 900 before HX 2150."""
    return (*(_natural(part) for part in unit), unit)


def _natural(text: str) -> list[tuple[int, int, str]]:
    parts = re.findall(r"[0-9]+|[^0-9]+", text.casefold())
    return [(0, int(part), "") if part.isdigit() and part.isascii() else (1, 0, part) for part in parts]
