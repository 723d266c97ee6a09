"""Two tones in one record, and the products that an amplifier makes of them, by least squares on known frequencies."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchctl.errors import MeasurementError, RecordTooShort, SampledTooSlowly, SilentRecord
from benchctl.measure.signal.phasors import Phasors
from benchctl.measure.signal.record import Samples, finite

_CHUNK = 8192  # samples at a time, so that the columns of a long record need little memory
# Both clocks agree within this part (crystals, with room).
_CLOCK = 1e-3
_ROUNDS = 4
_SETTLED = 1e-10
# Frequencies beside each product at which there is only noise, in lines of the record.
_BESIDE_LINES = (-4.5, -3.5, -2.5, 2.5, 3.5, 4.5)
_FEWEST_PERIODS = 3.0


@dataclass(frozen=True)
class TwoTones:
    """Amplitudes of sines, in the unit of the record.

    `tones`: of the lower and of the higher one. `products`: by frequency in Hz. `floor`: the rms amplitude that is
    found where no product can be, which is what noise and the converter's steps make.
    """

    tones: tuple[float, float]
    products: Mapping[float, float]
    floor: float


def two_tones(
    values: Samples, interval_s: float, tones_hz: tuple[float, float], products_hz: Sequence[float]
) -> TwoTones:
    """The amplitudes of two tones and their products. The generator's clock may be off: one factor for both tones.

    `values` has shape (n,), and holds three periods or more of the lowest of all frequencies and of the difference of
    any two.

    Raises:
        RecordTooShort, SampledTooSlowly: the record cannot tell the frequencies apart.
        SilentRecord: one of the tones is no more than noise.
    """
    record = finite(values)
    wanted = [*tones_hz, *products_hz]
    _check(record.size, interval_s, wanted)
    clock = _clock(record, interval_s, tones_hz)
    at = [clock * frequency for frequency in wanted]
    amplitudes = _fitted(record, interval_s, at)
    first, second, *products = (float(abs(each)) for each in amplitudes)
    floor = _floor(record, interval_s, at, amplitudes)
    if min(first, second) <= 3.0 * floor:
        raise SilentRecord("one of the two tones is no more than noise")
    return TwoTones((first, second), dict(zip(products_hz, products, strict=True)), floor)


def _check(samples: int, interval_s: float, frequencies_hz: Sequence[float]) -> None:
    ordered = sorted([0.0, *frequencies_hz])
    nearest_hz = float(np.min(np.diff(ordered)))
    if nearest_hz <= 0.0:
        raise MeasurementError("two of the frequencies are the same, so their amplitudes cannot be told apart")
    if samples * interval_s * nearest_hz < _FEWEST_PERIODS * (1.0 - 1e-6):
        raise RecordTooShort(
            f"frequencies {nearest_hz:g} Hz apart need a record of {_FEWEST_PERIODS / nearest_hz:.3g} s or more"
        )
    if not ordered[-1] * interval_s < 0.5:
        raise SampledTooSlowly(f"{ordered[-1]:g} Hz is not below half of {1 / interval_s:.6g} Sa/s")


def _clock(record: Samples, interval_s: float, tones_hz: tuple[float, float]) -> float:
    """The factor on both frequencies: from how far the higher tone turns between the halves of the record."""
    factor, middle = 1.0, record.size // 2
    apart_s = middle * interval_s
    for _ in range(_ROUNDS):
        at = [factor * tone for tone in tones_hz]
        early = _fitted(record[:middle], interval_s, at)[1]
        late = _fitted(record[middle : 2 * middle], interval_s, at)[1]
        turned = math.remainder(float(np.angle(late) - np.angle(early)) - 2 * math.pi * at[1] * apart_s, 2 * math.pi)
        step = turned / (2.0 * math.pi * apart_s * tones_hz[1])
        factor += step
        if abs(step) < _SETTLED:
            break
    if abs(factor - 1.0) > _CLOCK:
        raise MeasurementError(f"the tones are off by {abs(factor - 1.0):.2g} of their frequency, more than a clock is")
    return factor


def _fitted(record: Samples, interval_s: float, frequencies_hz: Sequence[float]) -> NDArray[np.complex128]:
    """Complex amplitudes c of Re(c exp(i w t)), t from the record's first sample, fitted together with a dc."""
    radians = 2.0 * math.pi * interval_s * np.asarray(frequencies_hz, dtype=np.float64)
    count = 2 * radians.size + 1
    normal, right = np.zeros((count, count)), np.zeros(count)
    for start in range(0, record.size, _CHUNK):
        part = record[start : start + _CHUNK]
        angles = np.outer(np.arange(start, start + part.size), radians)
        columns = np.hstack([np.ones((part.size, 1)), np.cos(angles), np.sin(angles)])
        normal += columns.T @ columns
        right += columns.T @ part
    found = np.linalg.solve(normal, right)
    return np.asarray(found[1 : radians.size + 1] - 1j * found[radians.size + 1 :], dtype=np.complex128)


def _floor(
    record: Samples, interval_s: float, frequencies_hz: Sequence[float], amplitudes: NDArray[np.complex128]
) -> float:
    """The rms amplitude beside the products: fitted one at a time to what the tones and products leave."""
    line_hz = 1.0 / (record.size * interval_s)
    beside = sorted(
        {
            product + lines * line_hz
            for product in frequencies_hz[2:]
            for lines in _BESIDE_LINES
            if 0.0 < (product + lines * line_hz) * interval_s < 0.5
        }
    )
    left = record - _made(record.size, interval_s, frequencies_hz, amplitudes)
    left -= float(np.mean(left))
    found = [2.0 / left.size * abs(_projected(left, 2.0 * math.pi * interval_s * each)) for each in beside]
    return math.sqrt(sum(each**2 for each in found) / len(found)) if found else 0.0


def _projected(values: Samples, radians: float) -> complex:
    """Sum of y exp(i w k)."""
    return Phasors(values.size, radians).project(values)[0]


def _made(
    samples: int, interval_s: float, frequencies_hz: Sequence[float], amplitudes: NDArray[np.complex128]
) -> Samples:
    made, at = np.zeros(samples), np.arange(samples) * (2.0 * math.pi * interval_s)
    for frequency_hz, amplitude in zip(frequencies_hz, amplitudes, strict=True):
        made += amplitude.real * np.cos(frequency_hz * at) - amplitude.imag * np.sin(frequency_hz * at)
    return made
