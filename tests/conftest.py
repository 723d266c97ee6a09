"""For all tests. None is judged by a clock: however busy the computer is, hypothesis may take as long as it needs."""

from __future__ import annotations

import gc
import os

# Matrices are small here, and threads that wait for each other beside other workers take longer than one does.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest
from hypothesis import HealthCheck, settings

from tests.shared_runs import SharedRuns

settings.register_profile("without a clock", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("without a clock")


def pytest_collection_finish() -> None:
    """Thousands of tests stay in memory to the end; looking through them for garbage costs a twentieth of the time."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def shared_runs(tmp_path_factory: pytest.TempPathFactory) -> SharedRuns:
    """Each process of the tests has a folder of its own in the session's."""
    own = tmp_path_factory.getbasetemp()
    return SharedRuns((own.parent if "PYTEST_XDIST_WORKER" in os.environ else own) / "shared_runs")
