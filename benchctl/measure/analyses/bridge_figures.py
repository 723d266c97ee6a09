"""What each half of a bridged pair gives and sees, of two like halves: half of the voltage at the whole current."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

from benchctl.measure.budget.figure import Figure, figure_of
from benchctl.measure.uncertainty import LoadResistance

Halves = Mapping[str, tuple[str, ...]]


def with_halves(
    figures: Iterable[Figure], power: str, halves: Halves, loads: Mapping[str, LoadResistance]
) -> list[Figure]:
    """The figures and, of each pair, half_power and half_load of both halves.

    Args:
        power: the name of the figure that is shared.
        halves: channel of a pair -> its two outputs; empty where nothing is bridged.
        loads: channel -> its load.
    """
    found = list(figures)
    powers = [figure for figure in found if figure.name == power and figure.channel in halves]
    return found + [half for figure in powers for half in _halves(figure, halves[figure.channel], loads)]


def _halves(power: Figure, names: tuple[str, ...], loads: Mapping[str, LoadResistance]) -> Iterator[Figure]:
    """Each half has half of the voltage across it and all of the current through it."""
    uncertainty = power.expanded_uncertainty
    share = replace(
        power,
        name="half_power",
        value=power.value / 2.0,
        expanded_uncertainty=None if uncertainty is None else uncertainty / 2.0,
    )
    load = figure_of("half_load", loads[power.channel].resistance() / 2.0, "ohm")
    for name in names:
        yield replace(share, channel=name)
        yield replace(load, channel=name, burst_cycles=power.burst_cycles)
