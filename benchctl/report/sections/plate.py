"""The amplifier's plate, as its file tells it: what is claimed, and what the amplifier can bear."""

from __future__ import annotations

from collections.abc import Iterator

from benchctl.documents.amplifier_file.amplifier import Amplifier
from benchctl.report.sections.tables import Cell, Table, heads
from benchctl.report.words.names import listed
from benchctl.report.words.quantities import setting, stated_ratio


def plate_facts(amplifier: Amplifier | None) -> tuple[tuple[str, str], ...]:
    """Name and text of each fact; none where the file cannot be read."""
    return tuple(_facts(amplifier)) if amplifier is not None else ()


def _facts(amplifier: Amplifier) -> Iterator[tuple[str, str]]:
    yield "Model", amplifier.title
    if amplifier.serial:
        yield "Serial number", amplifier.serial
    yield "Class", amplifier.amplifier_class
    yield "Channels", f"{listed(amplifier.channels)}, outputs {amplifier.outputs}"
    supply = amplifier.supply
    low, high = setting(supply.minimum_v, "V"), setting(supply.maximum_v, "V")
    yield "Supply", f"{setting(supply.nominal_v, 'V')}, from {low} to {high}; fuse {setting(supply.fuse_a, 'A')}"
    yield "Lowest load", setting(amplifier.minimum_load_ohm, "ohm")
    yield "Gain", stated_ratio(amplifier.gain_ratio)
    if amplifier.idle_current_a is not None:
        yield "Idle current", setting(amplifier.idle_current_a, "A")
    yield "Heatsink", f"{setting(amplifier.heatsink.maximum_c, 'degC')} at most"
    if amplifier.filters:
        yield "Filters switched in", "; ".join(map(str, amplifier.filters))


def plate_table(amplifier: Amplifier | None) -> Table | None:
    """A row for each rated load."""
    if amplifier is None:
        return None
    rows = tuple(
        (
            Cell(setting(line.load_ohm, "ohm")),
            Cell(setting(line.power_w, "W"), "number"),
            Cell(setting(line.thd_n, "1"), "number"),
        )
        for line in amplifier.rated
    )
    note = "Per channel, all channels driven, at the nominal supply voltage."
    return Table("Rated power", heads("load", numbers=["power", "THD+N"]), rows, note=note)
