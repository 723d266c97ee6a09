"""Parameters of a sequence, and references to them and to the amplifier file: `{from: supply}`.

A reference is a mapping of the one key `from` whose value is a name. It stands for a value as it would be written, so
the place it stands in decides what is right there. There is nothing to compute with: no expressions, no templates.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import Field, WithJsonSchema

from benchctl.documents.model.fields import Prose
from benchctl.documents.model.model_base import Part, PathProblem, Reading
from benchctl.documents.text.position import position_of
from benchctl.documents.text.tree import Listing, Table, Text
from benchctl.documents.text.words import unknown
from benchctl.errors import UsageError, quote
from benchctl.quantity import QuantityError, parse_quantity

if TYPE_CHECKING:
    from benchctl.documents.amplifier_file.amplifier import Amplifier

# What a reference stands for: a value as written, or a list of them.
Known = Mapping[str, str | tuple[str, ...]]

_NAME = re.compile(r"[a-z][a-z0-9_]*(?:\.[a-z][a-z0-9_]*)*")

# What `check` puts in where no amplifier file is at hand: a plausible amplifier.
STAND_IN: Known = {
    "amplifier.rated_loads": ("4 ohm",),
    "amplifier.rated_levels": ("50 mV", "100 mV", "200 mV", "300 mV", "400 mV", "500 mV", "600 mV", "700 mV", "800 mV"),
    "amplifier.other_load": "2 ohm",
    "amplifier.minimum_load": "4 ohm",
    "amplifier.supply.nominal": "14.4 V",
    "amplifier.supply.minimum": "11 V",
    "amplifier.supply.reduced": "12.7 V",
    "amplifier.supply.maximum": "16 V",
    "amplifier.supply.range": ("11 V", "12 V", "13 V", "14 V", "15 V", "15.5 V"),
    "amplifier.supply.fuse": "60 A",
    "amplifier.idle_current": "1 A",
    "amplifier.idle.criterion": "below 1.5 A",
    "amplifier.idle.current_limit": "2 A",
    "amplifier.heatsink.maximum": "85 degC",
    "amplifier.heatsink.criterion": "below 80 degC",
}

# Over the idle current that the maker expects. What is half as much again is not a spread of a trimmer any more, and at
# twice as much a supply limits early enough for a shorted device to survive it (common practice).
IDLE_AT_MOST = 1.5
IDLE_LIMIT = 2.0
# A drive that ends so much below the heatsink's maximum leaves its figures; at the maximum the limit ends the run.
HEATSINK_MARGIN_K = 5.0
# The load that the shipped sequences use unless they are told otherwise.
USUAL_LOAD_OHM = 4.0
# The supply's over-voltage protection stands at the amplifier's maximum, and trips a little below it as well as above.
PROTECTION_MARGIN = 0.03


def known_of(amplifier: Amplifier) -> Known:
    """What references to the amplifier file stand for."""
    supply = amplifier.supply
    known: dict[str, str | tuple[str, ...]] = {
        "amplifier.rated_loads": tuple(f"{line.load_ohm:.12g} ohm" for line in amplifier.rated),
        "amplifier.rated_levels": _levels(amplifier),
        "amplifier.other_load": f"{_other_load_ohm(amplifier):.12g} ohm",
        "amplifier.minimum_load": f"{amplifier.minimum_load_ohm:.12g} ohm",
        "amplifier.supply.nominal": f"{supply.nominal_v:.12g} V",
        "amplifier.supply.minimum": f"{supply.minimum_v:.12g} V",
        "amplifier.supply.reduced": f"{(supply.minimum_v + supply.nominal_v) / 2.0:.6g} V",
        "amplifier.supply.maximum": f"{supply.maximum_v:.12g} V",
        "amplifier.supply.range": _range(supply.minimum_v, supply.maximum_v),
        "amplifier.supply.fuse": f"{supply.fuse_a:.12g} A",
        "amplifier.heatsink.maximum": f"{amplifier.heatsink.maximum_c:.12g} degC",
        "amplifier.heatsink.criterion": f"below {amplifier.heatsink.maximum_c - HEATSINK_MARGIN_K:.12g} degC",
    }
    if amplifier.idle_current_a is not None:
        known |= _idle(amplifier.idle_current_a)
    return known


def _levels(amplifier: Amplifier) -> tuple[str, ...]:
    """Nine levels at the input by the nominal gain, from a sixteenth to the one of rated power into whichever rated
    load gets the least voltage for it, so that none overdrives the amplifier."""
    highest_v = min(amplifier.rated_voltage_v(line.load_ohm) for line in amplifier.rated) / amplifier.gain_ratio
    return tuple(f"{part / 16 * highest_v * 1e3:.4g} mV" for part in (1, 2, 4, 6, 8, 10, 12, 14, 16))


def _other_load_ohm(amplifier: Amplifier) -> float:
    """The rated load nearest to the usual one, the higher of two that are as near; twice the usual one where the plate
    rates no other, since a higher load asks for less current."""
    others = [line.load_ohm for line in amplifier.rated if abs(line.load_ohm / USUAL_LOAD_OHM - 1.0) > 1e-3]
    nearness = {ohm: (round(abs(math.log(ohm / USUAL_LOAD_OHM)), 6), -ohm) for ohm in others}
    return min(others, key=lambda ohm: nearness[ohm], default=2.0 * USUAL_LOAD_OHM)


def _range(lowest_v: float, highest_v: float) -> tuple[str, ...]:
    """Six voltages, equally far apart, from the lowest to as near the highest as a supply's protection lets it go."""
    highest_v *= 1.0 - PROTECTION_MARGIN
    return tuple(f"{lowest_v + part * (highest_v - lowest_v) / 5:.12g} V" for part in range(6))


def _idle(expected_a: float) -> dict[str, str]:
    """The idle current that the maker expects, what is too much of it, and what a first power-up is limited to."""
    return {
        "amplifier.idle_current": f"{expected_a:.12g} A",
        "amplifier.idle.criterion": f"below {IDLE_AT_MOST * expected_a:.12g} A",
        "amplifier.idle.current_limit": f"{IDLE_LIMIT * expected_a:.12g} A",
    }


# Marks a text without a pattern of its own in whose place a reference may stand.
REFERABLE = "referable"
_WRITTEN_OR_REFERRED = WithJsonSchema({"type": "string", REFERABLE: True})


class Parameter(Part):
    """A value of a sequence that may be set for one run: `--set supply=13.8V`."""

    unit: Literal["V", "A", "ohm", "Hz", "s", "W", "degC", "K", "1"] = Field(
        description="unit of its value, which may be written with any prefix; 1 for a ratio in % or dB"
    )
    default: Annotated[str, _WRITTEN_OR_REFERRED] = Field(
        description="value unless it is set for a run, or where that value comes from",
        examples=["14.4 V", "{from: amplifier.supply.nominal}"],
    )
    lowest: str | None = Field(default=None, description="the lowest value it may be set to", examples=["11 V"])
    highest: str | None = Field(default=None, description="the highest value it may be set to", examples=["16 V"])
    purpose: Prose = Field(default="", description="what it changes", examples=["what the amplifier is fed with"])

    def problems(self) -> Iterator[PathProblem]:
        for key in ("default", "lowest", "highest"):
            written = getattr(self, key)
            if written is not None:
                yield from (PathProblem((key,), problem) for problem in self._unreadable(written))
        problem = self.refuses(self.default)
        if problem:
            yield PathProblem(("default",), problem)

    def _unreadable(self, written: str) -> Iterator[str]:
        try:
            parse_quantity(written, self.unit)
        except QuantityError as error:
            yield str(error)

    def refuses(self, written: str) -> str:
        """Why the parameter cannot have this value, or an empty text."""
        try:
            value = parse_quantity(written, self.unit)
            if self.lowest is not None and value < parse_quantity(self.lowest, self.unit):
                return f"{quote(written)} is below the lowest value, {self.lowest}"
            if self.highest is not None and value > parse_quantity(self.highest, self.unit):
                return f"{quote(written)} is above the highest value, {self.highest}"
        except QuantityError as error:
            return str(error)
        return ""


def resolve(body: Table, reading: Reading) -> Table:
    """The sequence with every reference replaced by what it stands for; faults are noted in `reading`.

    Raises:
        UsageError: a parameter is set that the sequence has not got, or to a value that it cannot have.
    """
    raw = body.get("parameters")
    declared = _Resolver(reading.known, reading).table(raw) if isinstance(raw, Table) else Table()
    values = {name: _value(name, declared[name], reading) for name in declared}
    _check_settings(reading.settings, values)
    resolver = _Resolver({**reading.known, **values}, reading)
    resolved = resolver.table(body.without(["parameters"]))
    for name in declared:
        if name not in resolver.used:
            reading.problems_found.append((position_of(name), f"the parameter {quote(name)} is used nowhere"))
    if raw is not None:
        resolved[next(key for key in body if key == "parameters")] = declared if isinstance(raw, Table) else raw
    return resolved


def _value(name: str, declaration: Any, reading: Reading) -> str:
    """What the parameter is in this run: as set, or its default."""
    default = declaration.get("default", "") if isinstance(declaration, Table) else ""
    written = reading.settings.get(name)
    if written is None or not isinstance(declaration, Table):
        return str(default)
    problem = _parameter(declaration).refuses(written)
    if problem:
        raise UsageError(f"--set {name}: {problem}")
    return written


def _parameter(declaration: Table) -> Parameter:
    """The declaration as far as a setting must be held against it; its own faults are told with the file's."""
    given = {key: declaration.get(key) for key in ("unit", "default", "lowest", "highest")}
    return Parameter.model_construct(**given)


def _check_settings(settings: Mapping[str, str], declared: Mapping[str, str]) -> None:
    for name in settings:
        if name not in declared:
            raise UsageError(f"--set: {unknown(name, declared, 'parameter')}")


class _Resolver:
    """Replaces references, and remembers which names were used."""

    def __init__(self, known: Known, reading: Reading) -> None:
        self._known = known
        self._reading = reading
        self.used: set[str] = set()

    def table(self, table: Table) -> Table:
        return Table(((key, self._tree(value)) for key, value in table.items()), table.position)

    def _tree(self, tree: Any) -> Any:
        if isinstance(tree, Listing):
            return Listing((self._tree(item) for item in tree), tree.position)
        if not isinstance(tree, Table):
            return tree
        name = referred_name(tree)
        return self.table(tree) if name is None else self._stands_for(name)

    def _stands_for(self, name: Text) -> Any:
        self.used.add(str(name))
        value = self._known.get(name)
        if value is None:
            self._reading.refuse(name.position, _unresolved(name, self._known, self._reading.amplifier_file))
            return Text("", name.position)
        if isinstance(value, tuple):
            return Listing((Text(item, name.position) for item in value), name.position)
        return Text(value, name.position)


def _unresolved(name: str, known: Known, amplifier_file: str) -> str:
    """Why a name stands for nothing: nobody knows it, or the amplifier file leaves out what it comes from."""
    if name.startswith("amplifier.idle") and name in STAND_IN:
        return (
            f"{quote(name)} stands for nothing: {amplifier_file} does not give 'idle_current'; "
            "add a line with the idle current that the maker expects, such as 'idle_current: 1 A'"
        )
    return unknown(name, known, "name")


def referred_name(table: Table) -> Text | None:
    """The name in `{from: name}`; None for any other mapping, `{from: 10 mV}` among them."""
    if list(table) != ["from"]:
        return None
    name = table["from"]
    return name if isinstance(name, Text) and _NAME.fullmatch(name) else None
