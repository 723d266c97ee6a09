"""No test is judged by a clock: however busy the computer is, hypothesis may take as long as it needs."""

from __future__ import annotations

import gc

from hypothesis import HealthCheck, settings

settings.register_profile("without a clock", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("without a clock")


def pytest_collection_finish() -> None:
    """Thousands of tests stay in memory to the end; looking through them for garbage costs a twentieth of the time."""
    gc.collect()
    gc.freeze()
