"""Every page of the reference by the name of its file, and the page that leads to them."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import partial

from benchctl.quantity import PREFIXES, units_for, units_in_words
from tools.marked import ROOT
from tools.reference import commands, documents, drivers, figures, shipped_sequences, steps
from tools.reference.markdown import WRITTEN, code, table

FOLDER = ROOT / "docs" / "reference"

_HEAD = """\
# Reference

{written}- [Commands](commands.md), with their options, and [exit codes](exit-codes.md)
- [Steps](steps.md) of a sequence, with their settings, and the [figures](figures.md) that they give
- [Sequences that ship](shipped-sequences.md), with their parameters
- The files: [sequence](sequence-file.md), [bench](bench-file.md), [amplifier](amplifier-file.md),
  [driver](driver-file.md), [calibration](calibration-file.md)

"""
_VALUES = """\
## How values are written

A quantity is a number and its unit, with one space or none between them: `14.4 V`, `500 ms`, `1 kHz`. Decimals have a
point. A number without a unit is an error wherever a unit is needed. The prefixes are `p n u m k M G`; units in the
second column take them, those in the third are written as they stand.

"""
_OTHERS = """\
Other spellings are read as well: `4 Ω`, `45 °C`, `10 µs`, `1 KHz`, `20 MS/s`, and a count such as `10k` or `1M`. What
is printed has one spelling.

A ratio is written in %, ppm or dB; decibels are of amplitude, so that 6 dB are about 2. A level in dBV is relative to
1 V RMS. A temperature is in degC, a difference of temperatures in K.

A criterion is a word and a quantity: `below 2.5 A`, `above 140 W`, `within 50 mV` (of zero, to either side), `outside
50 mV`. Text needs quotes only where YAML asks for them.

"""
_QUANTITIES = {
    "voltage": "V",
    "current": "A",
    "resistance": "ohm",
    "frequency": "Hz",
    "time": "s",
    "power": "W",
    "capacitance": "F",
    "sample rate": "Sa/s",
    "temperature": "degC",
    "temperature difference": "K",
    "ratio": "1",
    "angle": "rad",
    "temperature coefficient": "1/K",
    "sensitivity of a clamp": "V/A",
    "rate of a voltage": "V/s",
    "rate of a temperature": "K/s",
    "thermal resistance": "K/W",
    "thermal capacity": "J/K",
    "slope of a filter": "dB/octave",
}
_SCALABLE = ("V", "A", "ohm", "Hz", "s", "W", "F", "Sa/s")


def front() -> str:
    """The page that leads to the others."""
    quantities = table(("quantity", "with any prefix", "as it stands"), map(_quantity, _QUANTITIES.items()))
    return (_HEAD.format(written=WRITTEN) + _VALUES + quantities + _OTHERS).rstrip() + "\n"


def _quantity(of: tuple[str, str]) -> tuple[str, str, str]:
    name, unit = of
    if unit not in _SCALABLE:
        return name, "", units_in_words(unit)
    whole = [each for each in units_for(unit) if each not in {prefix + unit for prefix in ("", *PREFIXES)}]
    return name, code(unit), ", ".join(map(code, whole))


PAGES: Mapping[str, Callable[[], str]] = {
    "README.md": front,
    "commands.md": commands.page,
    "exit-codes.md": commands.exit_codes,
    "steps.md": steps.page,
    "figures.md": figures.page,
    "shipped-sequences.md": shipped_sequences.page,
    "sequence-file.md": partial(documents.page, "sequence"),
    "bench-file.md": partial(documents.page, "bench"),
    "amplifier-file.md": partial(documents.page, "amplifier"),
    "driver-file.md": drivers.page,
    "calibration-file.md": partial(documents.page, "calibration"),
}
