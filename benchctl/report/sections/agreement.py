"""Which instruments saw one quantity and how well they agreed, and what only one of them saw."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from benchctl.documents.bench_file.bench import Bench
from benchctl.documents.bench_file.instruments import ElectronicLoad
from benchctl.measure.agreement.comparison import Comparison, contradictions
from benchctl.measure.agreement.reliance import HEATSINK, OUTPUT_VOLTAGE, POLARITY, SUPPLY_CURRENT, SUPPLY_VOLTAGE
from benchctl.report.reading.run_record import RunRecord
from benchctl.report.sections.tables import Cell, Table, heads
from benchctl.report.words.quantities import shown

_ROOM = (
    "Allowed: the uncertainties of both, the times at which they were read, a clamp's zero and the leads. The "
    "gain of the amplifier file is taken to be right within 3 dB. A record of another frequency than the generator "
    "is set to gives no figures."
)
_BY_TWO = "Seen by two"
_ALONE = "Nothing in this run can show whether these are wrong."


def contradictions_in_words(run_record: RunRecord) -> list[str]:
    """A sentence on each quantity that instruments contradict each other on."""
    return list(dict.fromkeys(str(comparison) for comparison in contradictions(_comparisons(run_record))))


def agreement_tables(run_record: RunRecord) -> list[Table]:
    """What was compared, then what was not; nothing in a folder that was made before anything was."""
    if all(entry.comparisons is None for entry in run_record.entries):
        return []
    compared = list(_comparisons(run_record))
    tables = [_compared_table(compared)] if compared else []
    return tables + ([_alone_table(run_record.bench, compared)] if run_record.bench else [])


def is_compared(table: Table) -> bool:
    """Whether a table has what two instruments saw."""
    return table.caption == _BY_TWO


def _comparisons(run_record: RunRecord) -> Iterator[Comparison]:
    for entry in run_record.entries:
        yield from entry.comparisons or ()


def _compared_table(compared: Sequence[Comparison]) -> Table:
    """A row for each pair, with the occasion on which least room was left."""
    pairs: dict[object, list[Comparison]] = {}
    for each in compared:
        pairs.setdefault((each.quantity, each.channel, each.first.who, _subject(each)), []).append(each)
    columns = (
        *heads("quantity", "channel", "one", "the other"),
        *heads(numbers=["times", "difference", "allowed"]),
        *heads("result"),
    )
    rows = tuple(_pair_row(found) for found in pairs.values())
    return Table(_BY_TWO, columns, rows, named=2, note=_ROOM).without_empty_columns()


def _subject(comparison: Comparison) -> str:
    """Who the second is; what the generator gives is another on each occasion."""
    return "" if comparison.quantity == OUTPUT_VOLTAGE else comparison.second.who


def _pair_row(found: Sequence[Comparison]) -> tuple[Cell, ...]:
    worst = min(found, key=_left)
    wrong = len(contradictions(found))
    outcome = Cell("agree", "passes") if not wrong else Cell(f"contradict, {wrong} of {len(found)} times", "fails")
    return (
        Cell(worst.quantity),
        Cell(worst.channel),
        *(Cell(f"{sight.who} {shown(sight.value, worst.unit)}") for sight in (worst.first, worst.second)),
        Cell(str(len(found)), "number"),
        Cell(shown(abs(worst.difference), worst.unit, digits=3), "number"),
        Cell("" if (room := _room(worst)) is None else shown(room, worst.unit, digits=3), "number"),
        outcome,
    )


def _room(comparison: Comparison) -> float | None:
    """On the side to which they are apart; None where that side has no end."""
    end = comparison.at_least if comparison.difference < 0.0 else comparison.at_most
    return None if end is None else abs(end)


def _left(comparison: Comparison) -> float:
    """How much room is left to the nearer end, as a part of what was seen; below nothing where they contradict."""
    low, high, apart = comparison.at_least, comparison.at_most, comparison.difference
    left = ([apart - low] if low is not None else []) + ([high - apart] if high is not None else [])
    return min(left, default=0.0) / max(abs(comparison.first.value), abs(comparison.second.value), 1e-12)


def _alone_table(bench: Bench, compared: Sequence[Comparison]) -> Table:
    rows = tuple((Cell(quantity), Cell(who)) for quantity, who in _alone(bench, compared))
    return Table("Seen by one instrument only", heads("quantity", "by"), rows, note=_ALONE)


def _alone(bench: Bench, compared: Sequence[Comparison]) -> Iterator[tuple[str, str]]:
    """Each quantity that nothing else of this run says anything of."""
    seen_twice = {(each.quantity, each.channel) for each in compared if each.second.value or each.second.uncertainty}
    instruments, signals = bench.instruments, bench.signals
    if (SUPPLY_CURRENT, "") not in seen_twice:
        yield SUPPLY_CURRENT, "the clamp" if instruments.supply is None else "the supply's own reading"
    if (SUPPLY_VOLTAGE, "") not in seen_twice:
        yield SUPPLY_VOLTAGE, "the supply's own reading, and its setting"
    for channel in signals.outputs:
        if (OUTPUT_VOLTAGE, channel) not in seen_twice:
            yield f"output voltage of {channel}", "the oscilloscope"
        if not any((each.quantity, each.channel) == (POLARITY, channel) for each in compared):
            yield f"which way round the probe at output {channel} is", "the oscilloscope; no power depends on it"
    if not any(quantity == OUTPUT_VOLTAGE for quantity, _ in seen_twice):
        yield "level at the input", "the generator's setting"
    yield from _single_by_nature(bench, (HEATSINK, "") in seen_twice)


def _single_by_nature(bench: Bench, heatsink_seen_twice: bool) -> Iterator[tuple[str, str]]:
    load, thermometer = bench.load, bench.instruments.thermometer
    if load is not None:
        by = "the load's setting" if isinstance(load, ElectronicLoad) else "the resistances in the bench file"
        yield "load resistance, and which one is connected", by
    for place, _ in thermometer.channels.items() if thermometer is not None else ():
        if place != "heatsink" or not heatsink_seen_twice:
            yield f"temperature: {place}", "the thermometer"
