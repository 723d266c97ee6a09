"""Figures of a check standard: an amplifier that is kept to be measured again and again by the same sequence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from benchctl.archive.drift.equipment import Equipment
from benchctl.archive.drift.value import Reference, ReferenceValue
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import as_said, burst_in_words, unit_in_words
from benchctl.measure.conditions import Conditions

# Those that an unchanged amplifier repeats well, and that tell of another part of the bench each.
FIGURES = (
    "gain",
    "continuous_power",
    "burst_power_clean",
    "idle_current",
    "supply_current",
    "efficiency",
    "output_noise",
    "damping_factor",
)


def standard_values(
    entries: Sequence[FiguresEntry], sequence: str, settings: Mapping[str, str], equipment: Equipment
) -> Iterator[ReferenceValue]:
    """Every value of these figures that is no bound and does not rest on instruments that contradict each other."""
    roles = tuple(equipment.identities)
    signals = [name for name, _ in equipment.bench.signals.wirings()]
    of, phase = equipment.named(*roles), equipment.phase(roles, signals)
    asked = "".join(f", {name}={value}" for name, value in settings.items())
    for entry in entries:
        for figure in entry.figures:
            if figure.name in FIGURES and _counts(figure):
                found = entry.conditions_of(figure).in_effect
                where = _joined(str(_but_load(found)), f"step {entry.step} of {sequence}{asked}")
                reference = Reference("figure", _named(figure, found), unit_in_words(figure), of, where=where)
                yield ReferenceValue(reference, *as_said(figure), phase)


def _counts(figure: Figure) -> bool:
    is_value = not figure.bound and not figure.contradiction
    return is_value and figure.channel != TOTAL and figure.expanded_uncertainty is not None


def _named(figure: Figure, conditions: Conditions) -> str:
    """Continuous power of A, 4 ohm."""
    channel = f" of {figure.channel}" if figure.channel else ""
    burst = burst_in_words(figure.burst_cycles) if figure.burst_cycles else ""
    return _joined(f"{figure_in_words(figure.name)}{channel}", burst, str(Conditions(conditions.load_ohm)))


def _but_load(conditions: Conditions) -> Conditions:
    """Those that make a figure another one; a level that was searched for may differ each time."""
    return Conditions(None, conditions.frequency_hz, supply_set_v=conditions.supply_set_v)


def _joined(*parts: str) -> str:
    return ", ".join(filter(None, parts))
