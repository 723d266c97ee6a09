"""The newest figures of a unit as its page shows them: a row a load, a column a length of burst, then what else."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from benchctl.report.sections.rated_power import Length, length_in_words
from benchctl.report.site.points import Quantity
from benchctl.report.site.units import Newest, UnitPage
from benchctl.report.words.quantities import setting

NOT_MEASURED = "not measured"
_NOISES: Mapping[Quantity, str] = {
    "noise": "output noise",
    "a_weighted_noise": "output noise, A-weighted",
    "signal_to_noise": "signal to noise at rated power",
}


@dataclass(frozen=True)
class NewestCell:
    """A value and the page of its run; `note`: its date and conditions, where those are not the same all over."""

    text: str = NOT_MEASURED
    page: str = ""
    note: str = ""
    is_value: bool = False


@dataclass(frozen=True)
class NewestRow:
    """A load, or a kind of noise, with its cells."""

    name: str
    cells: tuple[NewestCell, ...]


@dataclass(frozen=True)
class NewestTable:
    """`note`: what is the same of all its values."""

    caption: str
    heads: tuple[str, ...]
    rows: tuple[NewestRow, ...]
    note: str


def newest_tables(unit: UnitPage) -> list[NewestTable]:
    """Power with efficiency, and noise; what no run of the unit has measured is left out."""
    newest = unit.newest()
    powers = [found for found in newest.values() if found.point.quantity in ("power", "efficiency")]
    noises = [found for found in newest.values() if found.point.quantity in _NOISES]
    return [*_power_table(unit, powers), *_noise_table(noises)]


def _power_table(unit: UnitPage, found: list[Newest]) -> Iterator[NewestTable]:
    if not found:
        return
    by_place = {each.point.place: each for each in found}
    lengths = _lengths(found)
    loads = sorted({each.point.load_ohm or 0.0 for each in found}, reverse=True)
    usual = _Usual.of(found)
    has_efficiency = any(each.point.quantity == "efficiency" for each in found)
    yield NewestTable(
        "Clean output power of the weakest channel, by load",
        ("load", "rated", *map(length_in_words, lengths), *(["efficiency"] if has_efficiency else [])),
        tuple(
            NewestRow(
                setting(load, "ohm") if load else "not known",
                (
                    NewestCell(setting(unit.rated[load], "W") if load in unit.rated else "not rated", is_value=True),
                    *(usual.cell(by_place.get(("power", load or None, length))) for length in lengths),
                    *([usual.cell(by_place.get(("efficiency", load or None, None)))] if has_efficiency else []),
                ),
            )
            for load in loads
        ),
        note=usual.note,
    )


def _lengths(found: list[Newest]) -> list[Length]:
    lengths = {each.point.cycles for each in found if each.point.quantity == "power"}
    return sorted(lengths, key=lambda length: (length is None, length or 0))


def _noise_table(found: list[Newest]) -> Iterator[NewestTable]:
    if not found:
        return
    usual = _Usual.of(found)
    rows = {each.point.quantity: NewestRow(_NOISES[each.point.quantity], (usual.cell(each),)) for each in found}
    in_order = tuple(rows[quantity] for quantity in _NOISES if quantity in rows)
    yield NewestTable("Noise without a signal, of the worst channel", ("of", "value"), in_order, note=usual.note)


@dataclass(frozen=True)
class _Usual:
    """The date and the conditions of most values of a table: they stand below it, and beside the others only."""

    date: str
    at: str

    @classmethod
    def of(cls, found: list[Newest]) -> _Usual:
        return cls(
            Counter(each.run.card.date for each in found).most_common(1)[0][0],
            Counter(each.point.at for each in found).most_common(1)[0][0],
        )

    @property
    def note(self) -> str:
        at = f", at {self.at}" if self.at else ""
        return f"Measured {self.date} UTC{at}, unless a value says otherwise. ±: expanded uncertainty, 95 %."

    def cell(self, found: Newest | None) -> NewestCell:
        if found is None:
            return NewestCell()
        card, point = found.run.card, found.point
        notes = [
            card.date if card.date != self.date else "",
            point.at if point.at != self.at else "",
            card.remark,
        ]
        return NewestCell(point.text, f"{found.run.name}.html", ", ".join(filter(None, notes)), point.is_value)
