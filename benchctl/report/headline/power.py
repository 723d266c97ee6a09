"""What a run says of power: the clean power that the plate is held against, with its channels, load and voltage.

Of several channels the weakest is said, since a rating holds for each; of several occasions, the lowest.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.measure.budget.figure import Figure, u_of_difference
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.conditions import Conditions
from benchctl.report.headline.sentence import Clause, Look, Number
from benchctl.report.sections.rated_power import USUAL_LIMIT, PowerRow, power_rows
from benchctl.report.words.names import count_in_words, length_for, listed, place_of
from benchctl.report.words.quantities import as_part, said, setting

# Channels this far apart are told apart (0.2 dB).
_ALIKE = 1.05
# So many frequencies make a band.
_BAND = 3
# Voltages this far apart are told apart, as a share.
_LOST = 0.02


@dataclass(frozen=True)
class Claim:
    """The power of the weakest channel, with all rows that it was chosen from; `length` of burst, None for a tone."""

    row: PowerRow
    figure: Figure
    family: tuple[PowerRow, ...]
    length: int | None
    amplifier: Amplifier | None
    terminals: Figure | None = None
    efficiency: Figure | None = None

    @property
    def conditions(self) -> Conditions:
        return self.row.conditions

    def clauses(self) -> tuple[Clause, ...]:
        """The lead, then what belongs to it."""
        return (self._lead(), *self._rating(), *self._burst(), *self._efficiency())

    def _lead(self) -> Clause:
        number = Number(said(self.figure), self.figure)
        first = " ".join(filter(None, [number.text, self._whose(), self._for_how_long(), self._where()]))
        text = ", ".join(filter(None, [first, *self._how(), self._supply(), self._set(), self._turns()]))
        return Clause("power", text, (number,))

    def _whose(self) -> str:
        channels = list(dict.fromkeys(row.channel for row in self.family))
        if len(self._of_amplifier) == 1:
            return ""
        if len(channels) == 1:
            return f"at {channels[0]}"
        strongest = max((row.by_length[self.length] for row in self.family if self._is_with(row)), key=_value)
        if not _is_clearly_more(strongest, self.figure):
            return "a channel"
        return f"at {self.row.channel}, the {'weaker' if len(channels) == 2 else 'weakest'} channel,"

    def _is_with(self, row: PowerRow) -> bool:
        """Whether a row was measured on the same occasion."""
        here = self.row
        return (row.conditions.frequency_hz, row.turn) == (here.conditions.frequency_hz, here.turn)

    @property
    def _of_amplifier(self) -> tuple[str, ...]:
        return tuple(self.amplifier.channels) if self.amplifier else ()

    def _for_how_long(self) -> str:
        return "" if self.length is None else f"for {length_for(self.length)}"

    def _where(self) -> str:
        hertz = sorted({row.conditions.frequency_hz for row in self.family if row.conditions.frequency_hz})
        if len(hertz) < _BAND:
            return place_of(self.conditions)
        load = place_of(replace(self.conditions, frequency_hz=None))
        return f"{load} at every frequency tried from {setting(hertz[0], 'Hz')} to {setting(hertz[-1], 'Hz')}".lstrip()

    def _how(self) -> Iterator[str]:
        """Which channels were driven, and a distortion that is not the usual one."""
        of_all, driven = self._of_amplifier, self.conditions.driven
        if "+" in self.row.channel:
            yield f"{listed(self.row.channel.split('+'))} bridged"
        elif len(of_all) > 1 and driven:
            yield self._driven(of_all, driven)
        if (limit := self.conditions.thd_limit) not in {None, USUAL_LIMIT}:
            yield f"at {setting(limit or 0.0, '1')} THD+N"

    def _driven(self, of_all: Sequence[str], driven: Sequence[str]) -> str:
        if set(driven) == set(of_all):
            return "both driven" if len(of_all) == 2 else f"all {count_in_words(len(of_all))} driven"
        if len({row.conditions.driven for row in self.family}) > 1:
            return "one channel driven at a time"
        return f"only {listed(driven)} driven"

    def _supply(self) -> str:
        volts = self.conditions.supply_set_v
        if volts is None:
            return ""
        at = f"at {setting(volts, 'V')}"
        if self.conditions.supply_at:
            return f"{at} at its terminals"
        if self.terminals is not None and _is_lower(self.terminals, volts):
            return f"{at} of the supply, {said(self.terminals)} at its terminals"
        return at

    def _set(self) -> str:
        if self.conditions.drive == "clean":
            return ""
        return "at a set level" if self.conditions.drive == "set" else "at a level of which nothing is on record"

    def _turns(self) -> str:
        turns = {row.turn for row in self.family}
        return f"the lowest of {count_in_words(max(turns))} measurements" if len(turns) > 1 else ""

    def _rating(self) -> Iterator[Clause]:
        """At the voltage that the plate names only; of a plate for all channels driven, that fewer were."""
        rated_w = self.row.rated_w
        if rated_w is None or self.length is not None or not self._is_nominal:
            return
        number = Number(as_part(self.figure.value, rated_w, self.figure.bound), self.figure, rated_w)
        behind, look = _VERDICTS[self.figure.verdict]
        if set(self.conditions.driven) < set(self._of_amplifier):
            behind = f", which is for all channels driven{behind}"
        yield Clause("rating", f"{number.text} of the rating{behind}", (number,), look)

    def _efficiency(self) -> Iterator[Clause]:
        """Of a level that was set: what a run at several of them is about."""
        if self.efficiency is not None and self.conditions.drive == "set":
            number = Number(said(self.efficiency), self.efficiency)
            yield Clause("finding", f"efficiency {number.text}", (number,))

    @property
    def _is_nominal(self) -> bool:
        volts = self.conditions.supply_set_v
        nominal_v = self.amplifier.supply.nominal_v if self.amplifier else volts
        return volts is None or nominal_v is None or abs(volts - nominal_v) <= _LOST * nominal_v

    def _burst(self) -> Iterator[Clause]:
        """The shortest burst, at the same frequency if there are several."""
        if self.length is not None:
            return
        alike = [row for row in self.family if row.conditions == self.row.conditions]
        lengths = sorted(length for row in alike for length in row.by_length if length is not None)
        if not lengths:
            return
        weakest = min((row.by_length[lengths[0]] for row in alike if lengths[0] in row.by_length), key=_value)
        number = Number(said(weakest), weakest)
        yield Clause("burst", f"{number.text} for {length_for(lengths[0])}", (number,))


_VERDICTS: Mapping[str, tuple[str, Look]] = {
    "passes": ("", "passes"),
    "": ("", ""),
    "fails": (", which it does not reach", "fails"),
    "inconclusive": (", too uncertain for a verdict", "untold"),
}


def claim_of(entries: Sequence[FiguresEntry], amplifier: Amplifier | None) -> Claim | None:
    """The power that a run is known by; None where it measured none."""
    rows = [row for row in power_rows(entries, amplifier) if row.channel != TOTAL]
    if not rows:
        return None
    best = min(rows, key=lambda row: _rank(row, amplifier))
    length = None if None in best.by_length else min(length for length in best.by_length if length is not None)
    family = tuple(row for row in rows if length in row.by_length and _is_alike(row, best))
    if len({row.conditions.frequency_hz for row in family}) < _BAND:
        family = tuple(row for row in family if row.conditions.frequency_hz == best.conditions.frequency_hz)
    weakest = min(family, key=lambda row: row.by_length[length].value)
    figure = weakest.by_length[length]
    beside = _beside(entries, figure)
    terminals = beside.get("supply_voltage")
    is_known = terminals is not None and not terminals.bound
    return Claim(
        weakest, figure, family, length, amplifier, terminals if is_known else None, efficiency=beside.get("efficiency")
    )


def _is_clearly_more(one: Figure, other: Figure) -> bool:
    """By more than nobody hears, and by more than both are uncertain."""
    apart = one.value - other.value
    uncertain = u_of_difference(one, other)
    return apart > max((_ALIKE - 1.0) * other.value, uncertain)


def _is_lower(terminals: Figure, volts: float) -> bool:
    """Clearly: by more than is usual and by more than its uncertainty."""
    return volts - terminals.value > max(_LOST * volts, terminals.expanded_uncertainty or 0.0)


def _value(figure: Figure) -> float:
    return figure.value


def _rank(row: PowerRow, amplifier: Amplifier | None) -> tuple[float, ...]:
    """Clean before set, tones before bursts, the plate's own loads and channels before others; the highest level."""
    found = row.conditions
    loads = [line.load_ohm for line in amplifier.rated] if amplifier else []
    nominal_v = amplifier.supply.nominal_v if amplifier else found.supply_set_v or 0.0
    return (
        not row.is_clean,
        None not in row.by_length,
        row.rated_w is None,
        next((place for place, load in enumerate(loads) if load == found.load_ohm), len(loads)),
        -len(found.driven),
        abs(math.log((found.frequency_hz or 1000.0) / 1000.0)),
        abs((found.supply_set_v or nominal_v) - nominal_v),
        0.0 if row.is_clean else -(found.level_v or 0.0),
    )


def _is_alike(row: PowerRow, best: PowerRow) -> bool:
    """Whether a row belongs to the same claim: at whatever frequency, and of channels driven by themselves, too."""
    same = replace(row.conditions, frequency_hz=None, driven=()) == replace(
        best.conditions, frequency_hz=None, driven=()
    )
    alone = row.conditions.driven == (row.channel,) and best.conditions.driven == (best.channel,)
    return same and (alone or row.conditions.driven == best.conditions.driven)


def _beside(entries: Sequence[FiguresEntry], figure: Figure) -> dict[str, Figure]:
    """Name -> figure of what was measured together with this one and belongs to no channel."""
    found = next((entry for entry in entries if any(each is figure for each in entry.figures)), None)
    of_entry = found.figures if found else ()
    return {each.name: each for each in of_entry if not each.channel and not each.burst_cycles}
