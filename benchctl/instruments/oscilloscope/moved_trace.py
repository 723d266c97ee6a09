"""Whether samples are read as they are meant, seen by moving the trace of a quiet input by a known offset.

Its codes must move by as much, and its volts must stay. Samples of the wrong width, sign or order of bytes cannot do
both, nor can a scale that belongs to other samples.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from benchctl.documents.driver_file.records import ORDERS, SAMPLE_BYTES
from benchctl.instruments.oscilloscope.samples import Form, in_numbers
from benchctl.instruments.oscilloscope.scale import points_told, scale_of

# On the screen, and far enough from the middle that noise does not matter.
MOVED_DIVISIONS = 2.0
# Zero, noise and the error of an offset, of an instrument with 3 % (common practice).
OFF_DIVISIONS = 0.4
# A quiet input lies no farther from the middle, whatever its zero.
QUIET_DIVISIONS = 1.5
# Volts beyond these sizes are no volts of a quiet input; floats in the wrong order of bytes are full of them.
LEAST_V, MOST_V = 1e-9, 1e9
FEW_STRANGE = 0.01


@dataclass(frozen=True)
class Seen:
    """A record of a quiet input: its bytes, the numbers of its scale, and how its samples are said to be written."""

    data: bytes
    told: Mapping[str, float]
    form: Form


@dataclass(frozen=True)
class _Reading:
    """What two records show if their samples are read in one way, in divisions."""

    before: float
    after: float
    spread: float
    codes_moved: float

    @property
    def stays(self) -> bool:
        """Whether the volts stay where they are, and near zero."""
        return (
            abs(self.after - self.before) < OFF_DIVISIONS
            and abs(self.before) < QUIET_DIVISIONS
            and self.spread < QUIET_DIVISIONS
        )


def what_is_wrong(before: Seen, after: Seen, division_v: float) -> tuple[str, str]:
    """What two records show that cannot be, and what to write instead; two empty texts if nothing is wrong.

    Args:
        before: with 0 V in the middle of the screen.
        after: with `MOVED_DIVISIONS` in the middle.
        division_v: volts of a division, as the instrument tells volts.
    """
    reading = _read((before, after), before.form, division_v)
    if reading is not None and reading.stays:
        return _direction(reading, before.form)
    fitting = [form for form in _others(before.form) if (_read((before, after), form, division_v) or _NOTHING).stays]
    return _told(reading), _advice(fitting, reading)


def _direction(reading: _Reading, form: Form) -> tuple[str, str]:
    """Volts stay whichever way the trace was moved; its codes tell which."""
    if form.is_volts or reading.codes_moved < 0:
        return "", ""
    return (
        f"moves its trace up by {reading.codes_moved:.2f} divisions where it was to move down",
        "In the driver file, 'set_vertical' takes {offset_v} for the voltage in the middle of the screen; an "
        "instrument whose offset lifts the trace takes {shift_v}.",
    )


def _told(reading: _Reading | None) -> str:
    if reading is None:
        return "sends records that cannot be read as its driver file says"
    return (
        f"was told to move the trace of a quiet input down by {MOVED_DIVISIONS:g} divisions; its volts must stay near "
        f"0, and are read at {reading.before:.2f} divisions before and {reading.after:.2f} after"
    )


def _advice(fitting: Sequence[Form], reading: _Reading | None) -> str:
    if fitting:
        ways = " or ".join(_in_words(form) for form in fitting)
        return f"Its samples make sense if they are read in another way: in the driver file write {ways}."
    if reading is not None and abs(reading.codes_moved + MOVED_DIVISIONS) < OFF_DIVISIONS:
        return (
            "Its codes move as they must. In the driver file, 'get_scale' must name what tells where 0 V lies: "
            "'zero_code', 'reference_code' or 'volts_at_zero'."
        )
    return (
        "In the driver file, 'samples' must say what the instrument sends after 'prepare', 'get_scale' must belong to "
        "such samples, and 'set_vertical' must set the offset. Look that nothing is fed to the probe."
    )


def _in_words(form: Form) -> str:
    order = f", order: {form.order}" if form.bytes > 1 else ""
    return f"`samples: {{type: {form.type}{order}}}`"


def _others(form: Form) -> Iterator[Form]:
    """Every other way to write samples."""
    for kind, order in product(SAMPLE_BYTES, ORDERS):
        other = Form(kind, order if SAMPLE_BYTES[kind] > 1 else ORDERS[0])
        is_same = other.type == form.type and (other.order == form.order or other.bytes == 1)
        if not is_same and (other.bytes > 1 or order == ORDERS[0]):
            yield other


_NOTHING = _Reading(np.nan, np.nan, np.nan, np.nan)


def _read(records: Sequence[Seen], form: Form, division_v: float) -> _Reading | None:
    """Both records, read in one way; None where they cannot be, or their number of samples is another."""
    means: list[float] = []
    codes: list[float] = []
    spread = 0.0
    for record in records:
        try:
            numbers = in_numbers(record.data, form)
        except ValueError:
            return None
        if (points := points_told(record.told)) is not None and points != numbers.size:
            return None
        scale = scale_of(record.told, numbers.size, 0.0)
        if form.is_volts and _are_strange(numbers.astype(np.float64)):
            return None
        step_v, zero_v = (1.0, 0.0) if form.is_volts else (scale.volts_per_code, scale.volts_at_zero)
        with np.errstate(all="ignore"):  # volts of the wrong kind may be anything
            values = numbers.astype(np.float64)
            codes.append(float(np.mean(values)) * step_v / division_v)
            spread = max(spread, float(np.std(values)) * step_v / division_v)
        means.append(codes[-1] + zero_v / division_v)
    return _Reading(means[0], means[1], spread, codes[1] - codes[0])


def _are_strange(volts: NDArray[np.float64]) -> bool:
    sizes = np.abs(volts[volts != 0])
    strange = ~((sizes > LEAST_V) & (sizes < MOST_V))
    return bool(np.count_nonzero(strange) > FEW_STRANGE * volts.size)
