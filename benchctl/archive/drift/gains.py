"""One quantity seen by two instruments: how much one shows of what the other does, once a run."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from benchctl.archive.drift.equipment import Equipment
from benchctl.archive.drift.value import Reference, ReferenceValue
from benchctl.archive.journal.entries import FiguresEntry
from benchctl.measure.agreement.comparison import Comparison, Sight
from benchctl.measure.agreement.load import ADDS, BY_WHAT
from benchctl.measure.agreement.reliance import LOAD, OUTPUT_VOLTAGE
from benchctl.measure.agreement.reliance import SUPPLY_CURRENT as CURRENT
from benchctl.measure.agreement.reliance import SUPPLY_VOLTAGE as VOLTAGE
from benchctl.measure.agreement.supply import CLAMP_SHOWS, SUPPLY_READS, TERMINALS_SHOW
from benchctl.measure.signal.record import OUTPUT, SUPPLY_CURRENT, SUPPLY_VOLTAGE

# What the leads take changes with the current, so the supply's voltage is compared where nothing drives the amplifier.
_IDLING = frozenset({"look", "idle", "check_warming"})
_WITH_A_TONE = frozenset({"look", "check_paths"})
# A ratio that is less certain than this tells nothing of a gain.
_TOLD_WITHIN = 0.2

_BY_CLAMP = "supply current, clamp over supply's reading"
_BY_PROBE = "supply voltage at idle, probe over supply's reading"
_BY_GENERATOR = "output {channel}, oscilloscope over generator times plate's gain"


def supply_gains(entries: Sequence[FiguresEntry], equipment: Equipment) -> Iterator[ReferenceValue]:
    """Clamp and probe against the supply's own readings, each where it is most certain."""
    roles = ("oscilloscope", "supply")
    clamped = [each for entry in entries for each in _seen(entry, CURRENT, CLAMP_SHOWS)]
    if (best := _most_certain(clamped)) is not None:
        reference = Reference("gain", _BY_CLAMP, "", equipment.named(*roles), CURRENT)
        yield _ratio(reference, best.second, best.first, equipment.phase(roles, [SUPPLY_CURRENT]))
    probed = [each for entry in entries if entry.analysis in _IDLING for each in _seen(entry, VOLTAGE, TERMINALS_SHOW)]
    if (best := _most_certain(probed)) is not None:
        reference = Reference("gain", _BY_PROBE, "", equipment.named(*roles), VOLTAGE)
        yield _ratio(reference, best.second, best.first, equipment.phase(roles, [SUPPLY_VOLTAGE]))


def output_gains(entries: Sequence[FiguresEntry], equipment: Equipment) -> Iterator[ReferenceValue]:
    """Each output of a check standard, whose gain stays the same, against what the generator gives."""
    roles = ("oscilloscope", "generator")
    each = [
        comparison
        for entry in entries
        if entry.analysis in _WITH_A_TONE
        for comparison in entry.comparisons or ()
        if comparison.quantity == OUTPUT_VOLTAGE
    ]
    for channel in dict.fromkeys(comparison.channel for comparison in each):
        best = _most_certain([comparison for comparison in each if comparison.channel == channel])
        if best is not None:
            what = _BY_GENERATOR.format(channel=channel)
            reference = Reference("gain", what, "", equipment.named(*roles), OUTPUT_VOLTAGE)
            yield _ratio(reference, best.first, best.second, equipment.phase(roles, [OUTPUT + channel]))


def load_draws(entries: Sequence[FiguresEntry], equipment: Equipment) -> Iterator[ReferenceValue]:
    """What each load makes a check standard draw, over what another one at the same output does, by their resistances.
    An amplifier's own losses shift that a little, and always alike."""
    for comparison in (each for entry in entries for each in entry.comparisons or ()):
        one, adds, _ = comparison.first.who.partition(ADDS)
        _, by_what, other = comparison.second.who.partition(BY_WHAT)
        if comparison.quantity == LOAD and adds and by_what and comparison.second.value > 0.0:
            what = f"load of {comparison.channel or 'all outputs'}, draw of {one} over {other.partition(ADDS)[0]}"
            reference = Reference("gain", what, "", equipment.named("supply"), LOAD)
            ratio = comparison.first.value / comparison.second.value
            allowed = ratio * math.sqrt(2.0) * _least_known(equipment, comparison.channel)
            yield ReferenceValue(reference, ratio, allowed, equipment.phase(["load", "supply"]))


def _least_known(equipment: Equipment, channel: str) -> float:
    """The largest stated uncertainty of a resistor at an output."""
    at = [each for each in equipment.bench.load_resistors if channel in {"", each.channel}]
    return max((each.uncertainty for each in at), default=0.0)


def _seen(entry: FiguresEntry, quantity: str, second: str) -> Iterator[Comparison]:
    """The comparisons of the supply's reading with another instrument."""
    for each in entry.comparisons or ():
        if (each.quantity, each.first.who, each.second.who) == (quantity, SUPPLY_READS, second):
            yield each


def _most_certain(comparisons: Sequence[Comparison]) -> Comparison | None:
    told = [each for each in comparisons if min(each.first.value, each.second.value) > 0.0]
    best = min(told, key=_relative, default=None)
    return best if best is not None and _relative(best) < _TOLD_WITHIN else None


def _relative(comparison: Comparison) -> float:
    """How uncertain the ratio of both is, over itself, as both err independently."""
    return math.hypot(*(sight.uncertainty / sight.value for sight in (comparison.first, comparison.second)))


def _ratio(reference: Reference, shown: Sight, by: Sight, phase: str) -> ReferenceValue:
    ratio = shown.value / by.value
    allowed = ratio * math.hypot(shown.uncertainty / shown.value, by.uncertainty / by.value)
    return ReferenceValue(reference, ratio, allowed, phase)
