"""The run that most tests of a step begin with."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.runner.rig import AT_4_OHM, POWER_ON, Rig, rig


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Rig]:
    with rig(tmp_path) as found:
        found.begin()
        yield found


@pytest.fixture
def ready(bench: Rig) -> Rig:
    """On, and loaded with 4 ohm at 1 kHz."""
    bench.do(POWER_ON, AT_4_OHM)
    bench.run.has_looked = True  # at a low tone, which tests/runner/test_agreement.py tries
    bench.taps.sent.clear()
    return bench
