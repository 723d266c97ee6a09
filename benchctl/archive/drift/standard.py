"""Figures of a check standard: an amplifier that is kept to be measured again and again by the same sequence."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from benchctl.archive.drift.equipment import Equipment
from benchctl.archive.drift.value import Reference, ReferenceValue
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.documents.model.figures import figure_in_words
from benchctl.measure.budget.figure import Figure
from benchctl.measure.budget.power import TOTAL
from benchctl.measure.budget.words import burst_in_words
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
                what = f"{_named(figure, entry.conditions_of(figure))} (step {entry.step} of {sequence}{asked})"
                reference = Reference("figure", what, figure.unit, of)
                yield ReferenceValue(reference, figure.value, figure.expanded_uncertainty or 0.0, phase)


def _counts(figure: Figure) -> bool:
    is_value = not figure.bound and not figure.contradiction
    return is_value and figure.channel != TOTAL and figure.expanded_uncertainty is not None


def _named(figure: Figure, conditions: Conditions) -> str:
    """Continuous power of A, 4 ohm, 1 kHz. A level that was searched for may differ each time."""
    channel = f" of {figure.channel}" if figure.channel else ""
    burst = f", {burst_in_words(figure.burst_cycles)}" if figure.burst_cycles else ""
    found = conditions.in_effect
    at = str(Conditions(found.load_ohm, found.frequency_hz, supply_set_v=found.supply_set_v))
    return f"{figure_in_words(figure.name)}{channel}{burst}{f', {at}' if at else ''}"
