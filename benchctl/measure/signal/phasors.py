"""Sums of a record against exp(i w n), without a sine or cosine at every sample.

n = r M + c, so exp(i w n) is the outer product of a short vector over rows r and a short vector over columns c, and
each sum over n becomes a small matrix product of the record, seen as a table of rows of M samples. Time runs from
the middle of the record in units of half its length, u = -1 .. 1, which keeps the normal equations well conditioned.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from benchctl.measure.signal.products import by_few_rows
from benchctl.measure.signal.record import Samples

_Complex = NDArray[np.complex128]
_BINOMIAL = ((1,), (1, 1), (1, 2, 1))


@dataclass(frozen=True)
class _Table:
    """Samples first .. first + rows * columns of a record: u = row[r] + column[c]."""

    first: int
    row_k: Samples  # sample number from the middle of the record, at each row's first sample
    column_k: Samples  # and from there on

    @property
    def shape(self) -> tuple[int, int]:
        return self.row_k.size, self.column_k.size

    def of(self, values: Samples) -> Samples:
        rows, columns = self.shape
        return values[self.first : self.first + rows * columns].reshape(rows, columns)


class _Turns:
    """exp(i multiple w k) along the rows and the columns of a table, and what follows from it. Kept: a fit needs each
    several times."""

    def __init__(self, table: _Table, unit: float, radians_per_sample: float) -> None:
        self.table = table
        self.row_u, self.column_u = _powers(table.row_k / unit), _powers(table.column_k / unit)
        self._w = radians_per_sample
        self._rows: dict[int, _Complex] = {}
        self._columns: dict[int, _Complex] = {}

    def row(self, multiple: int = 1) -> _Complex:
        return self._kept(self._rows, self.table.row_k, multiple)

    def column(self, multiple: int = 1) -> _Complex:
        return self._kept(self._columns, self.table.column_k, multiple)

    def _kept(self, kept: dict[int, _Complex], k: Samples, multiple: int) -> _Complex:
        if multiple not in kept:
            kept[multiple] = np.exp(1j * (multiple * self._w) * k)
        return kept[multiple]

    @cached_property
    def basis(self) -> Samples:
        """What the columns of a record are summed with: turns, and turns times u."""
        column, u = self.column(), self.column_u[1]
        return np.column_stack([column.real, column.imag, column.real * u, column.imag * u])

    @cached_property
    def shape_of_a_row(self) -> Samples:
        """What each row of a sine and an offset is made of."""
        column = self.column()
        return np.vstack([column.real, column.imag, np.ones(column.size)])


class Phasors:
    """exp(i w k) over a record of `count` samples, k from the middle, w in radians a sample."""

    def __init__(self, count: int, radians_per_sample: float) -> None:
        self.count = count
        self.middle = (count - 1) / 2.0
        self.unit = max(self.middle, 0.5)  # samples that make u = 1
        self._turns = [_Turns(table, self.unit, radians_per_sample) for table in _tables(count)]

    def moment(self, power: int, multiple: int = 1) -> complex:
        """Sum of u^power exp(i multiple w k), power 0, 1 or 2."""
        return sum((_table_moment(turns, power, multiple) for turns in self._turns), start=0j)

    def project(self, values: Samples) -> tuple[complex, complex]:
        """Sums of y exp(i w k) and of y u exp(i w k)."""
        plain, timed = 0j, 0j
        for turns in self._turns:
            row, sums = turns.row(), by_few_rows(turns.table.of(values), turns.basis)
            by_row = sums[:, 0] + 1j * sums[:, 1]
            plain += complex(row @ by_row)
            timed += complex(row @ (by_row * turns.row_u[1] + sums[:, 2] + 1j * sums[:, 3]))
        return plain, timed

    def subtract(self, values: Samples, cosine: float, sine: float, offset: float) -> Samples:
        """values - (cosine cos wk + sine sin wk + offset), as a new array."""
        left = np.empty_like(values)
        for turns in self._turns:
            table = turns.table
            turned = (cosine - 1j * sine) * turns.row()
            rows = np.column_stack([turned.real, -turned.imag, np.full(turned.size, offset)])
            tone = by_few_rows(rows, turns.shape_of_a_row, out=table.of(left))
            np.subtract(table.of(values), tone, out=tone)
        return left


def _table_moment(turns: _Turns, power: int, multiple: int) -> complex:
    """By the binomial theorem, u being the sum of a row's and a column's."""
    row, column = turns.row(multiple), turns.column(multiple)
    terms = (
        weight * (row @ turns.row_u[q]) * (column @ turns.column_u[power - q])
        for q, weight in enumerate(_BINOMIAL[power])
    )
    return complex(sum(terms))


def _powers(u: Samples) -> tuple[Samples, Samples, Samples]:
    """u to the power of 0, 1 and 2."""
    return np.ones(u.size), u, u * u


def sums_at(values: Samples, radians_per_sample: Samples) -> _Complex:
    """Sums of y exp(i w k), k from the middle, for several w at once: the record is read once for all of them."""
    sums = np.zeros(radians_per_sample.size, dtype=np.complex128)
    for table in _tables(values.size):
        turns = np.exp(1j * np.outer(table.column_k, radians_per_sample))
        parts = by_few_rows(table.of(values), np.hstack([turns.real, turns.imag]))
        by_row = parts[:, : sums.size] + 1j * parts[:, sums.size :]
        sums += np.sum(np.exp(1j * np.outer(table.row_k, radians_per_sample)) * by_row, axis=0)
    return sums


def _tables(count: int) -> tuple[_Table, ...]:
    """A record of `count` samples as one table, and what that leaves as one row more."""
    middle = (count - 1) / 2.0
    columns = max(int(np.sqrt(count)), 1)
    rows = count // columns
    starts = columns * np.arange(rows, dtype=np.float64)
    body = _Table(0, starts - middle, np.arange(columns, dtype=np.float64))
    rest = count - rows * columns
    tail = _Table(rows * columns, np.array([rows * columns - middle]), np.arange(rest, dtype=np.float64))
    return (body, tail) if rest else (body,)
