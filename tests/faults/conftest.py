"""The run that most tests of an end begin with."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.faults.holding import DRIVEN, IDLE, LONG_HOLD
from tests.runner.rig import POWER_ON_LINE, Rig, files, rig


@pytest.fixture
def held(tmp_path: Path) -> Iterator[Rig]:
    """Idle is measured, then the amplifier is driven for two hours."""
    with rig(tmp_path, files(POWER_ON_LINE, IDLE, DRIVEN, LONG_HOLD, "power_off")) as bench:
        yield bench
