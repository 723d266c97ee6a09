"""What changed, in lines: the largest first, each kind of figure once, with its channels together."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from benchctl.archive.changes import Change, Occasion
from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.report.comparison.compared import Comparison, is_in_both
from benchctl.report.comparison.wording import changes_in_words, size_of
from benchctl.report.words.names import listed, name_of, place_of
from benchctl.report.words.quantities import said

MOST_LINES = 10

# Figures that say the same again -> the one that says it: volts at a load follow from watts, a ratio to noise from it.
_SAID_BY: Mapping[str, str] = {
    "burst_power_first": "burst_power_clean",
    "burst_power_highest": "burst_power_clean",
    "burst_power_lowest": "burst_power_clean",
    "burst_power_last": "burst_power_clean",
    "output_rms": "continuous_power",
    "output_peak": "continuous_power",
    "crest_factor": "continuous_power",
    "idle_power": "idle_current",
    "output_noise_a_weighted": "output_noise",
    "signal_to_noise_1w": "output_noise",
    "signal_to_noise_rated": "output_noise",
    "supply_current_peak": "supply_current",
    "supply_power": "supply_current",
    "fuse_load": "supply_current",
    "supply_voltage_sag": "supply_current",
    "static_sag": "supply_current",
    "marginal_efficiency": "efficiency",
    "watts_per_ampere": "efficiency",
    "thd": "thd_n",
}
# What the run brought about and not the amplifier: they stand in the tables only.
_CIRCUMSTANCES = frozenset(
    {"soak_time", "ambient_temperature", "load_temperature", "supply_voltage", "supply_voltage_lowest"}
)
_HEATSINK = "heatsink_temperature"  # tells of the amplifier only after the same drive
_DISTORTIONS = frozenset({"thd_n", "thd"})
_POWERS = frozenset({"burst_power_clean", "continuous_power"})


@dataclass(frozen=True)
class Finding:
    """One line: the figure of each channel that changed, between the first run and run number `other`; `more` places
    where the same kind of figure changed."""

    changes: tuple[Change, ...]
    other: int
    more: int = 0

    @property
    def kind(self) -> str:
        """What people call it."""
        return figure_in_words(self.changes[0].figure.name)

    def what(self) -> str:
        """Continuous power into 4 ohm, channels A and B."""
        change = self.changes[0]
        _, _, _, load_ohm, frequency_hz = change.place.identity
        found = change.place.conditions.in_effect
        at = replace(
            found,
            load_ohm=None if found.drive == "undriven" else load_ohm or found.load_ohm,
            frequency_hz=frequency_hz or found.frequency_hz,
        )
        name = " ".join(filter(None, [name_of(change.figure), place_of(at)]))
        channels = [each.figure.channel for each in self.changes if each.figure.channel]
        of = f", channel{'s' if len(channels) > 1 else ''} {listed(channels)}" if channels else ""
        return f"{name[:1].upper()}{name[1:]}{of}"

    def values(self, comparison: Comparison) -> str:
        """132 W before, 159 W after."""
        names = comparison.names
        was = _listed([change.before for change in self.changes])
        now = _listed([change.after for change in self.changes])
        return f"{names.said(0, was)}, {names.said(self.other, now)}"

    def by_how_much(self) -> str:
        """20 % more; 18 to 20 % more where the channels changed by other amounts."""
        return changes_in_words(self.changes)


def _listed(figures: Sequence[Figure | None]) -> str:
    return listed([said(figure) for figure in figures if figure is not None]) if any(figures) else "not measured"


@dataclass(frozen=True)
class Line:
    """A finding in words: what it is of, with the values; by how much it changed; where else."""

    values: str
    change: str
    elsewhere: str = ""

    def __str__(self) -> str:
        """Clean power into 4 ohm, channel A: 132 W before, 159 W after: 20 % more."""
        return ": ".join(filter(None, [self.values, self.change])) + self.elsewhere


def line_of(finding: Finding, comparison: Comparison) -> Line:
    """A finding as the page shows it."""
    more = f" (and at {finding.more} more place{'s' if finding.more > 1 else ''})" if finding.more else ""
    return Line(f"{finding.what()}: {finding.values(comparison)}", finding.by_how_much(), more)


def findings_of(comparison: Comparison) -> list[Finding]:
    """Every kind of change once, the largest first."""
    groups: dict[object, list[tuple[int, Change]]] = {}
    for changes in comparison.rows.values():
        for other, change in enumerate(changes, start=1):
            if not comparison.is_finding(change) or not _is_told(change):
                continue
            if _is_worth_a_line(change, is_alike=comparison.is_alike):
                groups.setdefault(_kind(change), []).append((other, change))
    found = [_finding(group) for group in groups.values()]
    return sorted(found, key=lambda finding: -_weight(finding.changes[0]))


def _is_worth_a_line(change: Change, *, is_alike: bool) -> bool:
    """Not a sum of channels, nor a circumstance, nor the distortion that a level was searched for."""
    name, channel, *_ = change.place.identity
    is_searched = change.place.conditions.drive in {"clean", "full"} and name in _DISTORTIONS
    is_circumstance = name in _CIRCUMSTANCES or (name == _HEATSINK and not is_alike)
    return channel != TOTAL and not is_circumstance and not is_searched


def _is_told(change: Change) -> bool:
    """A power that is gone is a finding; why a run lacks another figure, nobody knows from here."""
    return is_in_both(change) or change.figure.name in _POWERS


def _weight(change: Change) -> float:
    """The size of a change; a power that is gone comes first."""
    return size_of(change) if is_in_both(change) else 2.0


def _kind(change: Change) -> object:
    """What makes one line: powers by load and length of burst, of other figures all places together."""
    name = _lead(change.place)
    if name not in _POWERS:
        return name
    return name, change.place.identity[2], change.place.conditions.load_ohm


def _lead(place: Occasion) -> str:
    """The figure that says what this one says: of a burst, its volts belong to its own power."""
    lead = _SAID_BY.get(place.identity[0], place.identity[0])
    return "burst_power_clean" if lead == "continuous_power" and place.analysis == "burst" else lead


def _finding(group: Sequence[tuple[int, Change]]) -> Finding:
    """The largest change of the figure that leads, with the other channels at its place that changed the same way."""
    leading = [each for each in group if each[1].figure.name == _lead(each[1].place)] or list(group)
    other, largest = max(leading, key=lambda each: _weight(each[1]))
    same = [change for run, change in leading if run == other and _is_beside(change, largest)]
    places = {without_channel(change.place) for _, change in leading}
    return Finding(tuple(same), other, len(places) - 1)


def without_channel(place: Occasion) -> Occasion:
    """The same place without its channel."""
    name, _, cycles, load_ohm, frequency_hz = place.identity
    return replace(place, identity=(name, "", cycles, load_ohm, frequency_hz))


def _is_beside(change: Change, largest: Change) -> bool:
    return without_channel(change.place) == without_channel(largest.place) and _way(change) == _way(largest)


def _way(change: Change) -> str:
    """More, less, gone or new."""
    if change.before is None or change.after is None:
        return "gone" if change.after is None else "new"
    return "more" if abs(change.after.value) > abs(change.before.value) else "less"


def other_lines(comparison: Comparison) -> Iterator[tuple[str, str]]:
    """What did not change, what nobody can tell, and what only one run has: each in one line, by the kind of figure."""
    changed = {_lead(change.place) for finding in findings_of(comparison) for change in finding.changes}
    each = [
        change
        for changes in comparison.rows.values()
        for change in changes
        if (change.before or change.after) and _is_worth_a_line(change, is_alike=comparison.is_alike)
    ]
    both = [change for change in each if is_in_both(change)]
    same = [change for change in both if change.is_told and _lead(change.place) not in changed]
    yield "Not changed beyond the uncertainty", _kinds(same)
    same_kinds = {_lead(change.place) for change in same}
    yield (
        "Not told, since it is a bound, contradicted or of unknown uncertainty",
        _kinds([change for change in both if not change.is_told and _lead(change.place) not in changed | same_kinds]),
    )
    seen = {_lead(change.place) for change in both}
    lone = [change for change in each if not is_in_both(change) and _lead(change.place) not in seen | changed]
    yield "Measured in one run only", _kinds(lone)


def _kinds(changes: Sequence[Change]) -> str:
    kinds = dict.fromkeys(_lead(change.place) for change in changes)
    return ", ".join(figure_in_words(kind) for kind in kinds)
