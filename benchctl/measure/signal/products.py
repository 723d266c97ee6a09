"""Products of a tall table with a small matrix, a few rows at a time.

A few rows stay in the cache, which makes the product two to three times as fast. And a product so small is worked out
by one thread: a linear algebra library that spreads larger ones over all cores waits in vain on a computer that is
busy (tried: 30 times slower).
"""

from __future__ import annotations

import numpy as np

from benchctl.measure.signal.record import Samples

_MOST_MULTIPLICATIONS = 200_000  # OpenBLAS takes a second thread from 2^18 on


def by_few_rows(left: Samples, right: Samples, out: Samples | None = None) -> Samples:
    """left @ right for shapes (m, k) and (k, n) with m large; in `out`, if it is given."""
    rows, inner = left.shape
    columns = right.shape[1]
    batch = min(max(_MOST_MULTIPLICATIONS // max(inner * columns, 1), 1), rows)
    whole = rows // batch * batch
    product = np.empty((rows, columns)) if out is None else out
    np.matmul(left[:whole].reshape(-1, batch, inner), right, out=product[:whole].reshape(-1, batch, columns))
    np.matmul(left[whole:], right, out=product[whole:])
    return product


def inner_product(first: Samples, second: Samples) -> float:
    """Sum of first * second, both of shape (n,), by one thread for the same reason."""
    return float(np.einsum("i,i->", first, second))
